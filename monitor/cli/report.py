"""``swimup alarm report``: how much the alarms ask of a person, against what a person can bear."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import tell
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

LONGEST: Final = 30
KEPT: Final = {True: "kept", False: "NOT KEPT", None: "too early to say"}
BAR: Final = 20


@click.command()
@click.option("--days", type=click.IntRange(1, LONGEST), default=LONGEST, show_default=True, help="How far back.")
@config_option
@json_option
def report(days: int, config: Path | None, as_program: bool) -> None:
    """Tell how much the alarms asked of you: pushes a day, what rang most, and what to do about it."""
    with Client(config) as client:
        found = client.get(f"/report?days={days}")
    tell(found, "" if as_program else told(found), as_program=as_program)


def told(found: dict[str, Any]) -> str:
    """The report as plain text."""
    parts = [_head(found), _targets(found), _days(found), _rules(found), _floods(found), _findings(found)]
    return "\n\n".join(part for part in parts if part)


def _head(found: dict[str, Any]) -> str:
    days = len(found["days"])
    channel = f", by {found['channel']}, the busiest channel" if found["channel"] else ""
    return (
        f"{found['days'][0]['date']} to {found['days'][-1]['date']}, {days} day{'' if days == 1 else 's'}: "
        f"{found['alarms']} alarms, {found['pushes']} pushes{channel}.\n"
        f"Apart from these: told again {found['repeats']} times, ready {found['ready']} times."
    )


def _targets(found: dict[str, Any]) -> str:
    rows = [("target", "allowed", "found", "verdict")]
    rows += [(one["name"], one["target"], one["found"], KEPT[one["kept"]]) for one in found["targets"]]
    return _table(rows)


def _days(found: dict[str, Any]) -> str:
    busy = [one for one in found["days"] if one["alarms"] or one["pushes"] or one["repeats"] or one["ready"]]
    if not busy:
        return "Nothing rang and nothing was told."
    rows = [("day", "alarms", "pushes", "again", "ready", "")]
    rows += [
        (
            one["date"],
            str(one["alarms"]),
            str(one["pushes"]),
            str(one["repeats"]),
            str(one["ready"]),
            "#" * min(one["pushes"], BAR) + ("+" if one["pushes"] > BAR else ""),
        )
        for one in busy
    ]
    return _table(rows, right=range(1, 5))


def _rules(found: dict[str, Any]) -> str:
    if not found["rules"]:
        return ""
    rows = [("rule", "alarms", "share", "pushes", "acknowledged after", "lasted")]
    rows += [
        (
            one["rule"],
            str(one["alarms"]),
            words.percent(one["share"]),
            str(one["told"]),
            _length(one["acknowledged_after_s"]),
            _length(one["length_s"]),
        )
        for one in found["rules"]
    ]
    return _table(rows, right=range(1, 4))


def _length(seconds: int | None) -> str:
    return "-" if seconds is None else words.duration(seconds * 1000)


def _floods(found: dict[str, Any]) -> str:
    zone, now = ZoneInfo(found["timezone"]), rfc3339(found["end"])
    return "\n".join(
        f"Flood: {one['pushes']} pushes, {words.between(rfc3339(one['begin']), rfc3339(one['end']), now, zone)}: "
        f"{', '.join(one['alarms'])}"
        for one in found["floods"]
    )


def _findings(found: dict[str, Any]) -> str:
    return "\n".join(f"{one['text']}\n  {one['advice'].replace('`', '')}" for one in found["findings"])


def _table(rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> str:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(
            f"{cell:{'>' if n in right else '<'}{width}}"
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )
