"""``swimup batch``: the keeper's log."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, Said, json_option, segment
from monitor.cli.told import tell
from monitor.cli.typed import COUNT, MASS, SALINITY, SHARE, VOLUME, instant, time_option
from monitor.core.wording import day_of
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

_WIDTH: Final = 100
"""Letters in a line."""


@click.group()
def batch() -> None:
    """Note what happens to a batch. Where a batch is asked for, its vessel's name will do."""


@batch.command()
@click.argument("vessel")
@click.option("--cysts", required=True, callback=MASS, help='How many cysts: "2 g", "500 mg".')
@click.option("--lot", help="The tin they come from. Otherwise the one used last.")
@click.option("--water", "--litres", "litres", callback=VOLUME, help='"1.5 L", "0.5 gal". Otherwise the vessel\'s.')
@click.option("--salt", "--salinity", "salinity", callback=SALINITY, help='"25 g/L". Otherwise 25 g/L.')
@click.option("--name", help="A name for the batch. Otherwise vessel and date.")
@time_option
@config_option
@json_option
def start(
    vessel: str,
    cysts: float,
    lot: str | None,
    litres: float | None,
    salinity: float | None,
    name: str | None,
    when: str | None,
    config: Path | None,
    as_program: bool,
) -> None:
    """Cysts went into VESSEL."""
    with Client(config) as client:
        bench = client.get("/bench")
        body = {
            "vessel": vessel,
            "cysts_g": cysts,
            "lot": lot,
            "litres": litres,
            "salinity_g_l": salinity,
            "batch": name,
            "time": instant(when, bench),
        }
        result = client.post("/batches", body)
        tell(result, _begun(result, client.get("/bench"), vessel), as_program=as_program)


@batch.command()
@click.argument("name", metavar="BATCH")
@click.argument("what", type=click.Choice(list(words.SIGHTS)))
@click.option("--fraction", callback=SHARE, help='Share of all cysts that have hatched, if you counted: "60 %".')
@time_option
@config_option
@json_option
def seen(name: str, what: str, fraction: float | None, when: str | None, config: Path | None, as_program: bool) -> None:
    """You looked into BATCH and saw none, first, some or most swim."""
    with Client(config) as client:
        batch_id, result = _note(client, name, "seen", {"what": what, "fraction": fraction}, when)
        now = _ready_line(client.get("/bench"), batch_id)
        tell(result, f"Noted for {batch_id}: {words.SIGHTS[what]}.{now}", as_program=as_program)


@batch.command()
@click.argument("name", metavar="BATCH")
@click.option("--fraction", callback=SHARE, help='Share of all cysts that hatched, if you counted: "60 %".')
@click.option("--nauplii", callback=COUNT, help="How many young brine shrimp, if you counted.")
@time_option
@config_option
@json_option
def harvest(
    name: str, fraction: float | None, nauplii: float | None, when: str | None, config: Path | None, as_program: bool
) -> None:
    """BATCH is harvested. This ends it."""
    with Client(config) as client:
        batch_id, result = _note(client, name, "harvest", {"hatched_fraction": fraction, "nauplii": nauplii}, when)
        tell(result, f"Noted: {batch_id} is harvested.", as_program=as_program)


@batch.command()
@click.argument("name", metavar="BATCH")
@click.option("--reason", help="Why, for the next time.")
@time_option
@config_option
@json_option
def discard(name: str, reason: str | None, when: str | None, config: Path | None, as_program: bool) -> None:
    """BATCH is thrown away. This ends it."""
    with Client(config) as client:
        batch_id, result = _note(client, name, "discard", {"reason": reason}, when)
        tell(result, f"Noted: {batch_id} is thrown away.", as_program=as_program)


@batch.command()
@click.argument("name", metavar="BATCH")
@config_option
@json_option
def story(name: str, config: Path | None, as_program: bool) -> None:
    """Tell the whole story of BATCH, open or ended."""
    with Client(config) as client:
        bench = client.get("/bench")
        found = client.get(f"/batches/{segment(_resolve(bench, name))}")
        told = {"batch": found["id"], "summary": found["summary"], "story": found["story"]}
        tell(told, _as_told(told, bench["timezone"]), as_program=as_program)


@batch.command(short_help="Take back what was logged last.")
@config_option
@json_option
def undo(config: Path | None, as_program: bool) -> None:
    """Take back the newest entry of the log, as if it had never been made; it may be 10 min old. Again takes back the next."""
    with Client(config) as client:
        undoable = client.get("/bench").get("undoable") or []
        if not undoable:
            raise Said("There is nothing to undo: it can be done for 10 min after an entry was logged.")
        newest = undoable[0]
        result = client.post("/undo", {name: newest[name] for name in ("kind", "subject", "at")})
        left = f" Again undoes the {undoable[1]['text']}." if len(undoable) > 1 else ""
        tell(result, f"Undone: {result['text']}.{left}", as_program=as_program)


def _as_told(told: Mapping[str, Any], timezone: str) -> str:
    """A heading for each day, and under it what happened then."""
    lines, day = [str(told["batch"]), *textwrap.wrap(told["summary"], _WIDTH)], ""
    for one in told["story"]:
        time = rfc3339(one["time"])
        if day_of(time, timezone) != day:
            day = day_of(time, timezone)
            lines += ["", day]
        at = f"  {words.clock(time, ZoneInfo(timezone))}  "
        lines += textwrap.wrap(one["text"], _WIDTH, initial_indent=at, subsequent_indent=" " * len(at))
    return "\n".join(lines)


def _note(client: Client, name: str, event: str, body: dict[str, Any], when: str | None) -> tuple[str, dict[str, Any]]:
    bench = client.get("/bench")
    batch_id = _resolve(bench, name)
    result = client.post(f"/batches/{segment(batch_id)}/{event}", {**body, "time": instant(when, bench)})
    return batch_id, result


def _resolve(bench: Mapping[str, Any], name: str) -> str:
    """The batch called ``name``, or the open one in the vessel called so. An unknown name is left to the daemon."""
    for vessel in bench["vessels"]:
        if vessel["id"] == name and not any((other["batch"] or {}).get("id") == name for other in bench["vessels"]):
            if vessel["batch"] is None:
                raise Said(f"There is no open batch in {name}.")
            return str(vessel["batch"]["id"])
    return name


def _begun(result: Mapping[str, Any], bench: Mapping[str, Any], vessel: str) -> str:
    name = result.get("batch") or next(
        (other["batch"]["id"] for other in bench["vessels"] if other["id"] == vessel and other["batch"]), vessel
    )
    return f"Noted: {name} is under way in {vessel}.{_ready_line(bench, str(name))}"


def _ready_line(bench: Mapping[str, Any], name: str) -> str:
    zone, now = ZoneInfo(bench["timezone"]), int(bench["now_ms"])
    for vessel in bench["vessels"]:
        found = vessel["batch"]
        if found and found["id"] == name and found["ready"]["mid"]:
            ready = words.about(rfc3339(found["ready"]["mid"]))
            return f" Ready about {words.moment(ready, now, zone)}."
    return ""
