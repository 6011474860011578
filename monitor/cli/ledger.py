"""``swimup ledger``: what amounts rest on, and putting an entry right."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, Said, json_option
from monitor.cli.told import plain, tell
from monitor.cli.typed import past
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.food_typed import Place
from monitor.web.ledger_fields import FIELDS, typed_value
from monitor.web.ledger_words import KINDS
from monitor.web.problems import Trouble
from monitor.web.when import as_rfc3339, rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

LINES: Final = 30
_MOST_PAGES: Final = 2000
_INSTANTS: Final = ("time", "opened", "swam_up")


@click.group()
def ledger() -> None:
    """List what went into tins, vessels and cold stores and came out of them; put an entry right at any time."""


@ledger.command("list")
@click.option("--kind", type=click.Choice(list(KINDS)), help="Only these.")
@click.option("--since", metavar="DAY", help=f"From then on, such as 2026-03-02. Otherwise the newest {LINES}.")
@config_option
@json_option
def list_entries(kind: str | None, since: str | None, config: Path | None, as_program: bool) -> None:
    """Tell the newest entries, each with its number."""
    with Client(config) as client:
        bench = client.get("/bench")
        begin = past("--since", since, bench)
        found = []
        for one in _entries(client, kind, begin):
            if one["undone"]:
                continue
            found.append(one)
            if begin is None and len(found) == LINES:
                break
    if as_program:
        click.echo(json.dumps(found, ensure_ascii=False))
        return
    zone = ZoneInfo(bench["timezone"])
    for one in found:
        click.echo(plain(_line(one, int(bench["now_ms"]), zone)))
    if not found:
        click.echo("Nothing is written down.")


@ledger.command()
@click.argument("number", type=int)
@click.argument("values", metavar="NAME=VALUE...", nargs=-1, required=True)
@config_option
@json_option
def correct(number: int, values: tuple[str, ...], config: Path | None, as_program: bool) -> None:
    """Put the entry NUMBER right: swimup ledger correct 12 nauplii="20 000" time="yesterday 19:00"."""
    with Client(config) as client:
        bench, entry = client.get("/bench"), _entry(client, number)
        place = Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))
        body = {**_key(entry), "values": _values(entry["kind"], values, place)}
        result = client.post("/corrections", body)
        tell(result, f"Corrected: {_entry(client, number)['text']}.", as_program=as_program)


@ledger.command()
@click.argument("number", type=int)
@config_option
@json_option
def remove(number: int, config: Path | None, as_program: bool) -> None:
    """Take the entry NUMBER away: all amounts are as if it had never been made."""
    with Client(config) as client:
        entry = _entry(client, number)
        result = client.post("/corrections", {**_key(entry), "gone": True})
        tell(result, f"Taken away: {entry['text']}.", as_program=as_program)


def _entries(client: Client, kind: str | None = None, since: str | None = None) -> Iterator[dict[str, Any]]:
    for page in range(1, _MOST_PAGES):
        asked = {"page": page, "kind": kind, "since": since}
        told = client.get(f"/ledger?{'&'.join(f'{name}={value}' for name, value in asked.items() if value)}")
        yield from told["items"]
        if not told["more"]:
            return


def _entry(client: Client, number: int) -> dict[str, Any]:
    for one in _entries(client):
        if one["id"] == number:
            return one
    raise Said(f"There is no entry {number} in the ledger; swimup ledger list tells the numbers.")


def _key(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {name: entry[name] for name in ("kind", "subject", "at")}


def _values(kind: str, pairs: tuple[str, ...], place: Place) -> dict[str, Any]:
    fields = {one.name: one for one in FIELDS.get(kind, ())}
    found: dict[str, Any] = {}
    for pair in pairs:
        name, equals, text = pair.partition("=")
        if not equals or name not in fields:
            allowed = ", ".join(fields) or "nothing"
            raise click.UsageError(f'"{pair}": write NAME=VALUE; of this entry can be corrected: {allowed}.')
        try:
            value = typed_value(fields[name], text, place)
        except Trouble as trouble:
            raise click.UsageError(trouble.detail) from trouble
        found[name] = as_rfc3339(value) if name in _INSTANTS and value is not None else value
    return found


def _line(one: Mapping[str, Any], now: int, zone: ZoneInfo) -> str:
    at = words.moment(rfc3339(one["time"]), now, zone)
    mark = "" if one["standing"] else " (taken away)"
    return f"{one['id']:>5}  {at:<12}  {one['text']}{mark}{' (corrected)' if one['was'] and one['standing'] else ''}"
