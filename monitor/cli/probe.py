"""``swimup probe``: a board's own sensors on the broker. It asks nothing of the daemon."""

from __future__ import annotations

import os
import signal
import sys
import threading
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from monitor import loglines
from monitor.probe import adc, onewire
from monitor.probe.binding import bindings
from monitor.probe.board import Bench, BoardRunner
from monitor.probe.fault import SensorFault
from monitor.probe.settings import load
from monitor.service.watchdog import Watchdog
from monitor.settings.errors import ConfigError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

    from monitor.probe.settings import BoardSettings

VARIABLE = "SWIMUP_PROBE_CONFIG"
EXIT_FAULTY, EXIT_BAD_CONFIGURATION = 1, 2


@click.command()
@click.option(
    "-c",
    "--config",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help=f"What is wired to this board. Otherwise ${VARIABLE}, ./probe.toml, swimup/probe.toml in ~/.config, or in /etc.",
)
@click.option("--list", "listing", is_flag=True, help="Tell what this board finds, and end. Needs no configuration.")
@click.option("--once", is_flag=True, help="Measure everything once, print it, and end. Needs no broker.")
@click.option("--bindings", "binding", is_flag=True, help="Print what the monitor's configuration needs, and end.")
@click.option(
    "--sysfs",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("/sys"),
    show_default=True,
    help="Where the kernel shows devices.",
)
def probe(config: Path | None, listing: bool, once: bool, binding: bool, sysfs: Path) -> None:
    """Publish this board's own sensors: thermometers on the 1-Wire bus, pins, converters.

    Try --list first, then write probe.toml (config/probe.example.toml explains it), then --once.
    """
    if sum((listing, once, binding)) > 1:
        raise click.UsageError("--list, --once and --bindings each go alone.")
    if listing:
        _list(sysfs)
        return
    try:
        settings = load(_find(config))
        if binding:
            click.echo(bindings(settings), nl=False)
            return
        if once:
            sys.exit(_once(settings, sysfs))
        _run(settings, sysfs)
    except ConfigError as error:
        _refuse(error)


def _run(settings: BoardSettings, sysfs: Path) -> None:
    loglines.begin(sys.stderr)
    watchdog = Watchdog()
    runner = BoardRunner(settings, sysfs, alive=watchdog.alive)
    halt = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        halt.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    watchdog.ready()
    well = runner.run(halt)
    watchdog.stopping()
    if not well:
        sys.exit(EXIT_FAULTY)


def _once(settings: BoardSettings, sysfs: Path) -> int:
    faulty = False
    bench = Bench(settings, sysfs)
    try:
        for task in [task for tasks in bench.groups.values() for task in tasks]:
            try:
                click.echo(f"{task.id}: {task.measure()}, to {task.topic}")
            except SensorFault as fault:
                faulty = True
                click.echo(f"{task.id}: {fault}")
    finally:
        bench.close()
    return EXIT_FAULTY if faulty else 0


def _list(sysfs: Path) -> None:
    click.echo("Thermometers on the 1-Wire bus, for [[one_wire]]:")
    devices = onewire.devices(sysfs)
    for device in devices:
        told = _told(partial(onewire.measure, sysfs, device), "C")
        click.echo(f'  device = "{device}"   {told}')
    if not devices:
        click.echo("  none. Is the bus on (dtoverlay=w1-gpio), and the 4.7 kOhm resistor in place?")
    click.echo("Inputs of converters, for [[adc]]:")
    inputs = adc.channels(sysfs)
    for one in inputs:
        told = _told(partial(adc.volts, one.folder, one.channel), "V")
        click.echo(f'  device = "{one.device}", channel = "{one.channel}"   {told}')
    if not inputs:
        click.echo("  none.")
    click.echo("Which wire is on which pin, for [[pin]], no board can tell: follow the wire.")


def _told(measure: Callable[[], float], unit: str) -> str:
    try:
        return f"{measure():.2f} {unit}"
    except SensorFault as fault:
        return f"({fault})"


def _find(config: Path | None) -> Path:
    named = config or (Path(os.environ[VARIABLE]) if os.environ.get(VARIABLE) else None)
    if named is not None:
        return named
    home = os.environ.get("XDG_CONFIG_HOME") or os.path.expanduser("~/.config")  # noqa: PTH111
    places = (Path("probe.toml"), Path(home) / "swimup/probe.toml", Path("/etc/swimup/probe.toml"))
    for place in places:
        if place.is_file():
            return place
    allowed = f"one of {', '.join(map(str, places))}, or -c FILE"
    raise ConfigError([Problem("probe.toml", "", "no such file", allowed, "Begin with config/probe.example.toml.")])


def _refuse(error: ConfigError) -> NoReturn:
    for problem in error.problems:
        click.echo(str(problem), err=True)
    sys.exit(EXIT_BAD_CONFIGURATION)
