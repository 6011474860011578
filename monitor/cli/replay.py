"""``swimup replay``: what the monitor would have said, over recorded readings and a log."""

from __future__ import annotations

import json
import os
import re
import sys
from pathlib import Path

import click

from monitor.core.model import Refused
from monitor.core.replay import replay as run_replay
from monitor.intake.instants import instant
from monitor.intake.recorded import RecordProblem, entries, readings
from monitor.settings.discover import EXIT_BAD_CONFIGURATION, config_option, load_or_exit
from monitor.settings.units import Kind, read

FILE = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.command()
@config_option
@click.option("--readings", "readings_file", type=FILE, required=True, help="CSV with the columns time,probe,value.")
@click.option(
    "--log", "log_file", type=FILE, help="JSON lines: start, seen, harvest, discard, settle, work, chill, emptied."
)
@click.option("--every", default="30 min", show_default=True, help="Distance of the lines, aligned to the UTC day.")
@click.option("--until", help="Go on to this time (RFC 3339) after the last input.")
def replay(config: Path | None, readings_file: Path, log_file: Path | None, every: str, until: str | None) -> None:
    """Print one JSON line per open batch at each step: estimate, range, stage and alarms, as they would have been told."""
    settings = load_or_exit(config)
    try:
        step = _step(every)
        end = None if until is None else instant(until)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    try:
        measured = list(readings(readings_file, settings.bindings()))
        log = [] if log_file is None else list(entries(log_file))
        for line in run_replay(settings.site_spec(), measured, log, step, end):
            sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()
    except (RecordProblem, Refused) as problem:
        click.echo(str(problem), err=True)
        sys.exit(EXIT_BAD_CONFIGURATION)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has seen enough


def _step(text: str) -> int:
    """A distance of lines in ms. Raises ValueError."""
    # "30m" is half an hour here; in the configuration, where lengths occur too, minutes are "min".
    step = round(read(re.sub(r"(?<=[\d\s])m$", "min", text.strip()), Kind.DURATION) * 1000)
    if not 60_000 <= step <= 86_400_000:
        raise ValueError(f"--every {text!r}: allowed is 1 min to 1 day, as 30m or 1h")
    return step
