"""``swimup doctor``: how machine and service fare. The running daemon is asked; without one, what can be seen from outside is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, NoDaemon, json_option
from monitor.cli.told import tell
from monitor.settings.discover import config_option, find_config
from monitor.settings.errors import ConfigError
from monitor.settings.loader import load
from monitor.web import words
from monitor.web.checkup_view import headline
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from monitor.settings.settings import Settings

MARKS: Final = {"act": "!!", "look": "! ", "fine": "- "}
EXIT_ACT: Final = 1


@click.command()
@config_option
@json_option
@click.option("--facts", is_flag=True, help="Print all facts as well.")
@click.pass_context
def doctor(context: click.Context, config: Path | None, as_program: bool, facts: bool) -> None:
    """Tell how machine and service fare, the worst first, and what to do. Exit code 1 when something wants action.

    Works without the daemon too: then configuration, store, broker, port and machine are looked at.
    """
    found = _found(config)
    told = "" if as_program else described(found, facts=facts)
    tell(found, told, as_program=as_program)
    context.exit(EXIT_ACT if found["level"] == "act" else 0)


def _found(config: Path | None) -> dict[str, Any]:
    """The daemon's own check-up, or one from outside. ``daemon`` tells which."""
    from monitor.cli.outside import broken_configuration, look_from_outside  # noqa: PLC0415  (seldom needed)

    try:
        settings = load(find_config(config))
    except ConfigError as error:
        return {"daemon": False, "timezone": "UTC", **broken_configuration(error)}
    try:
        with Client(config) as client:
            return {"daemon": True, "timezone": settings.site.timezone, **client.get("/checkup")}
    except NoDaemon as silent:
        return _without(settings, look_from_outside(settings, silent.message))


def _without(settings: Settings, found: dict[str, Any]) -> dict[str, Any]:
    return {"daemon": False, "timezone": settings.site.timezone, **found}


def described(found: dict[str, Any], *, facts: bool) -> str:
    """The check-up as plain text."""
    now = rfc3339(found["now"])
    at = words.moment(now, now, ZoneInfo(found["timezone"]))
    lines = [f"{headline(found['findings'])} ({at})"]
    for one in found["findings"]:
        means = f" {one['means']}" if one["means"] else ""
        lines.append(f"{MARKS[one['level']]} {one['about']}: {one['found']}{means}".replace("`", ""))
        if one["advice"]:
            lines.append(f"     {one['advice'].replace('`', '')}")
    if facts:
        lines += ["", *_table(found["facts"])]
    return "\n".join(lines)


def _table(facts: Sequence[dict[str, Any]]) -> list[str]:
    left = max((len(one["about"]) for one in facts), default=0)
    middle = max((len(one["name"]) for one in facts), default=0)
    return [f"{one['about']:<{left}}  {one['name']:<{middle}}  {one['text']}" for one in facts]
