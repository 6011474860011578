"""``swimup run``: the daemon in the foreground."""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
from typing import TYPE_CHECKING, NoReturn
from urllib.parse import urlsplit

import click

from monitor import loglines
from monitor.service import memory
from monitor.service.logstream import UnfailingLog
from monitor.settings.discover import EXIT_BAD_CONFIGURATION, config_option, exit_with, load_or_exit
from monitor.settings.errors import ConfigError

if TYPE_CHECKING:
    from pathlib import Path
    from types import FrameType

    from monitor.service import Clock
    from monitor.settings.settings import Settings

EXIT_BROKEN = 1


@click.command()
@config_option
@click.option("--sim-epoch", help="Simulated time (RFC 3339) at the start; loopback broker only.")
@click.option("--sim-speed", type=float, default=60.0, show_default=True, help="How much faster simulated time runs.")
@click.option(
    "--sim-anchor", type=float, help="Real time (seconds since 1970) at which it is --sim-epoch; default now."
)
@click.option("-v", "--verbose", is_flag=True, help="Log every reading.")
def run(config: Path | None, sim_epoch: str | None, sim_speed: float, sim_anchor: float | None, verbose: bool) -> None:
    """Run the monitor until it is told to stop (Ctrl-C or SIGTERM)."""
    memory.begin()
    loglines.begin(UnfailingLog(), logging.DEBUG if verbose else logging.INFO)
    settings = load_or_exit(config)
    try:
        clock = _clock(settings, sim_epoch, sim_speed, sim_anchor)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    _leave(_serve(settings, clock))


def _leave(code: int) -> NoReturn:
    """End now: all is stored and said. The interpreter would wait for threads of libraries whose server never answers."""
    if threading.active_count() > 1:
        sys.stdout.flush()
        os._exit(code)
    sys.exit(code)


def _serve(settings: Settings, clock: Clock) -> int:
    from monitor.core.model import HISTORY  # noqa: PLC0415  (the help text need not wait for what is loaded here)
    from monitor.store.ahead import Ahead  # noqa: PLC0415

    ahead = Ahead(settings.store.path, clock.now() - HISTORY)

    from monitor.service.daemon import Daemon  # noqa: PLC0415
    from monitor.store import StoreError  # noqa: PLC0415
    from monitor.web import WebProblem  # noqa: PLC0415

    try:
        daemon = Daemon(settings, clock, ahead)
    except ConfigError as error:
        exit_with(error)
    except WebProblem as problem:
        click.echo(str(problem), err=True)
        return EXIT_BROKEN if problem.transient else EXIT_BAD_CONFIGURATION

    def end(_signal: int, _frame: FrameType | None) -> None:
        daemon.stop()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    try:
        daemon.run()
    except (StoreError, WebProblem, OSError) as error:
        click.echo(str(error), err=True)
        return EXIT_BROKEN
    return 0


def _clock(settings: Settings, epoch: str | None, speed: float, anchor: float | None) -> Clock:
    from monitor.intake.instants import instant  # noqa: PLC0415
    from monitor.service.clock import SimulatedClock, SystemClock  # noqa: PLC0415
    from monitor.settings.checks import loopback  # noqa: PLC0415

    if epoch is None:
        return SystemClock()
    host = urlsplit(settings.broker.url).hostname or ""
    if not loopback(host):
        raise ValueError(f"--sim-epoch needs a broker on this machine; broker.url names {host}")
    try:
        start = instant(epoch)
    except ValueError:
        raise ValueError(f"--sim-epoch {epoch!r}: write RFC 3339 with a zone, as 2026-03-01T06:00:00Z") from None
    return SimulatedClock(start, speed, anchor)
