"""``swimup food``: what lies ahead for each meal, the plan, and to follow it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import plain, tell
from monitor.cli.typed import MASS, instant, time_option
from monitor.core.model import DAY
from monitor.core.plan_words import figure, grams, odds
from monitor.core.wording import clock
from monitor.settings.discover import config_option
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

SHOWN: Final = 2 * DAY
TELLS: Final = 0.005


@click.group(invoke_without_command=True)
@config_option
@json_option
@click.pass_context
def food(context: click.Context, config: Path | None, as_program: bool) -> None:
    """Tell the meals of the next two days, what to start when, tins and stores."""
    if context.invoked_subcommand is not None:
        return
    with Client(config) as client:
        document = client.get("/food")
    if as_program:
        tell(document, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(document))))


@food.command("plan")
@config_option
@json_option
def plan_(config: Path | None, as_program: bool) -> None:
    """Tell all that is planned, what has changed, and what nothing can meet."""
    with Client(config) as client:
        document = client.get("/food")
    if as_program:
        tell(document.get("plan", {}), "", as_program=True)
    else:
        click.echo(plain("\n".join(planned(document))))


@food.command()
@click.argument("name", metavar="ID")
@click.option("--cysts", callback=MASS, help='How much, if not as planned: "3 g".')
@time_option
@config_option
@json_option
def start(name: str, cysts: float | None, when: str | None, config: Path | None, as_program: bool) -> None:
    """The planned start ID was made: begin the batch with the planned values."""
    with Client(config) as client:
        body = {"cysts_g": cysts, "time": instant(when, client.get("/bench"))}
        result = client.post(f"/plan/{segment(name)}/start", body)
        tell(result, f"Noted: {result.get('subject') or name} is started.", as_program=as_program)


@food.command()
@click.argument("name", metavar="ID")
@config_option
@json_option
def skip(name: str, config: Path | None, as_program: bool) -> None:
    """Not now: the plan does without the start ID, and leaves its vessel alone for half a day."""
    with Client(config) as client:
        result = client.post(f"/plan/{segment(name)}/skip", {})
        tell(result, f"{name} is put aside; it is planned anew within a minute.", as_program=as_program)


@food.command()
@click.option("--renew", is_flag=True, help="Make a new address; the one before shows nothing any more.")
@config_option
@json_option
def calendar(renew: bool, config: Path | None, as_program: bool) -> None:
    """Tell the address of the calendar of starts, harvests and meals. Whoever knows it can look at them."""
    with Client(config) as client:
        told = client.post("/calendar/renew", {}) if renew else client.get("/calendar")
        tell(told, told["url"] or f"{client.url}{told['path']}", as_program=as_program)


# -- words


def described(document: Mapping[str, Any]) -> list[str]:
    if not document:
        return ["Nothing is known yet: the first look ahead comes half a minute after the start."]
    head = _head(document)
    return [
        *head,
        *_meals(document),
        *_block("Start", _starts(document)),
        *_block("Tins", _tins(document)),
        *_stores(document),
    ]


def _head(document: Mapping[str, Any]) -> list[str]:
    zone, now = document["timezone"], document["now_ms"]
    lines = []
    if not document["on"]:
        lines.append("Planning is switched off: plan = true under [food] in the configuration begins it.")
    elif document["planned_at"] is None:
        lines.append("Nothing is planned yet.")
    else:
        lines.append(f"Planned at {clock(rfc3339(document['planned_at']), zone, now)}.")
    if document["trouble"]:
        lines.append(f"! {document['trouble']}")
    if not document["broods"] and not document["eaters"]:
        lines.append("Nobody is told to eat yet: swimup brood add, or swimup eater set.")
    return lines


def _meals(document: Mapping[str, Any]) -> list[str]:
    zone, now = document["timezone"], document["now_ms"]
    found = []
    for meal in document["meals"]:
        time = rfc3339(meal["time"])
        if now <= time < now + SHOWN:
            short = f"  short: {odds(meal['short'])}" if meal["short"] >= TELLS else ""
            why = f", {meal['why']}" if short and meal["why"] else ""
            need = figure(meal["need"]["mid"] or 0)
            found.append(f"{clock(time, zone, now):<10} {meal['eater']}: {need}{short}{why}")
    return _block("Meals", found)


def _starts(document: Mapping[str, Any]) -> list[str]:
    zone, now = document["timezone"], document["now_ms"]
    found = []
    for one in document["plan"]["starts"]:
        begin, last = (clock(rfc3339(one[name]), zone, now) for name in ("start", "start_by"))
        when = begin if begin == last else f"{begin} to {last}"
        mark = "! " if one["due"] == "now" else "  "
        spare = " (in reserve)" if one["backup"] else ""
        found.append(f"{mark}{when}: {grams(one['grams'])} of {one['lot']} in {one['vessel']}{spare}  [{one['id']}]")
    return found


def _tins(document: Mapping[str, Any]) -> list[str]:
    found = []
    for tin in document["tins"]:
        left = "nobody told what is in it" if tin["left_g"] is None else f"{grams(tin['left_g'])} left"
        lasts = f", for {tin['lasts']}" if tin["lasts"] else ""
        falling = ", hatches worse and worse" if tin["falling"] else ""
        found.append(f"{tin['id']}: {left}{lasts}{falling}")
    return found


def _stores(document: Mapping[str, Any]) -> list[str]:
    zone, now = document["timezone"], document["now_ms"]
    found = []
    for store in document["stores"]:
        if not store["nauplii"]:
            found.append(f"{store['id']}: empty")
            continue
        end = (store["until"] or {}).get("mid")
        until = "" if end is None else f", good until about {clock(rfc3339(end), zone, now)}"
        found.append(f"{store['id']}: {figure(store['nauplii'])}{until}")
    return _block("Cold stores", found)


def _block(title: str, lines: list[str]) -> list[str]:
    return ["", f"{title}:", *(f"  {line}" for line in lines)] if lines else []


def planned(document: Mapping[str, Any]) -> list[str]:
    if not document:
        return ["Nothing is planned yet."]
    plan, zone, now = document["plan"], document["timezone"], document["now_ms"]
    lines = _head(document)
    lines += _block("Changed", plan["changed"])
    starts = []
    for told, one in zip(_starts(document), plan["starts"], strict=True):
        salt = f"{one['salt_g']:g} g of salt in {one['litres']:g} L"
        gives = f"gives about {figure(one['nauplii']['mid'] or 0)}"
        starts += [
            told,
            f"    {salt}; {gives}{_costs(one['cost'], plan['currency'])}",
            f"    {one['reason']}",
        ]
    lines += _block("Start", starts)
    short = []
    for one in plan["unmet"]:
        when = clock(rfc3339(one["time"]), zone, now)
        short += [f"{when} of {one['eater']}, {odds(one['chance'])}: {one['why']}", f"  {one['help']}"]
    lines += _block("Short whatever is started", short)
    if plan["cost"] is None:
        unpriced = "What it costs is not known: no tin has a price (swimup tin add --price)."
        return [*lines, "", unpriced] if plan["starts"] else lines
    return [*lines, "", f"All that is planned costs {plan['cost']:.2f} {plan['currency']}".rstrip() + "."]


def _costs(cost: float | None, currency: str) -> str:
    return "" if cost is None else f"; costs {cost:g} {currency}".rstrip()
