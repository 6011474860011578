"""``swimup brood``: larvae, when they swim up, how many are left, and what they need."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import plain, tell
from monitor.cli.typed import COUNT, instant, time_option
from monitor.core.wording import whole
from monitor.settings.discover import config_option
from monitor.settings.fish import find_fish, fish, nearest_fish
from monitor.web.brood_form import day_of_form
from monitor.web.brood_view import make_broods
from monitor.web.problems import Trouble
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


@click.group()
def brood() -> None:
    """Tell of larvae: spawned, swimming, counted, ended; list what they need."""


def _own(command: Any) -> Any:
    for name, kind, told in (
        ("--wean-days", float, "Days after swim-up from which they need no more."),
        ("--swim-up-days", float, "Days from spawning to swim-up, at the fish's usual temperature."),
        ("--largest-um", float, "Longest young brine shrimp they take at first, um."),
        ("--meals", int, "Meals a day."),
        ("--growth-percent", float, "Growth of the ration, per cent a day."),
        ("--ration", float, "Young brine shrimp a day for each larva, when they begin."),
    ):
        command = click.option(name, type=kind, help=f"{told} Otherwise as the table of fish has it.")(command)
    return command


@brood.command()
@click.argument("name", metavar="BROOD")
@click.option("--fish", "kind", required=True, help="Kind of fish; see swimup brood fish.")
@click.option("--larvae", required=True, callback=COUNT, help="How many there are, or will be at swim-up.")
@click.option("--spawned", default="", metavar="DAY", help="2026-03-02. Otherwise today.")
@click.option("--swam-up", "swam_up", metavar="DAY", help="The day on which they were seen to swim.")
@click.option("--tank", default="", help="The tank whose temperature a probe tells.")
@_own
@config_option
@json_option
def add(
    name: str,
    kind: str,
    larvae: float,
    spawned: str,
    swam_up: str | None,
    tank: str,
    growth_percent: float | None,
    config: Path | None,
    as_program: bool,
    **own: float | None,
) -> None:
    """Tell of BROOD. Told again of the same one, all of it takes the place of what was told before."""
    with Client(config) as client:
        bench = client.get("/bench")
        body: dict[str, Any] = {
            "brood": name,
            "fish": kind,
            "larvae": larvae,
            "tank": tank,
            "time": _day("--spawned", spawned, bench),
            "swam_up": None if swam_up is None else _day("--swam-up", swam_up, bench),
            "growth_per_day": None if growth_percent is None else growth_percent / 100,
            **own,
        }
        result = client.post("/broods", {key: value for key, value in body.items() if value is not None})
        tell(result, f"Noted: brood {name}.", as_program=as_program)


@brood.command("list")
@config_option
@json_option
def list_all(config: Path | None, as_program: bool) -> None:
    """List broods and eaters, when larvae swim up and what they need."""
    with Client(config) as client:
        found = client.get("/broods")
        if as_program:
            click.echo(json.dumps(found, ensure_ascii=False))
            return
        view = make_broods({**client.get("/bench"), **found})
    for card in view.cards:
        click.echo(plain(f"{card.id}: {card.fish}, {card.larvae}. {card.swims}."))
        click.echo(plain(f"  Needs {card.now}; in 7 days {card.later}."))
        if card.fits:
            click.echo(plain(f"  Tins that fit: {card.fits}."))
    for name, told in view.eaters:
        click.echo(plain(f"{name}: {told}."))
    if not view.cards and not view.eaters:
        click.echo("No brood and no eater yet.")


@brood.command()
@click.argument("name", metavar="BROOD")
@click.argument("larvae", callback=COUNT)
@time_option
@config_option
@json_option
def count(name: str, larvae: float, when: str | None, config: Path | None, as_program: bool) -> None:
    """LARVAE of BROOD are left."""
    with Client(config) as client:
        body = {"larvae": larvae, "time": instant(when, client.get("/bench"))}
        result = client.post(f"/broods/{segment(name)}/counted", body)
        tell(result, f"Noted: {whole(larvae)} larvae in {name}.", as_program=as_program)


@brood.command()
@click.argument("name", metavar="BROOD")
@time_option
@config_option
@json_option
def swims(name: str, when: str | None, config: Path | None, as_program: bool) -> None:
    """BROOD was seen to swim up."""
    with Client(config) as client:
        result = client.post(f"/broods/{segment(name)}/swam-up", {"time": instant(when, client.get("/bench"))})
        tell(result, f"Noted: {name} swims.", as_program=as_program)


@brood.command()
@click.argument("name", metavar="BROOD")
@click.option("--how", type=click.Choice(["weaned", "lost", "moved"]), default="weaned", show_default=True)
@time_option
@config_option
@json_option
def end(name: str, how: str, when: str | None, config: Path | None, as_program: bool) -> None:
    """BROOD needs no young brine shrimp any more."""
    with Client(config) as client:
        body = {"how": how, "time": instant(when, client.get("/bench"))}
        result = client.post(f"/broods/{segment(name)}/ended", body)
        tell(result, f"Noted: {name} needs no young brine shrimp any more.", as_program=as_program)


@brood.command("fish")
@click.argument("kind", default="")
@json_option
def show_fish(kind: str, as_program: bool) -> None:
    """List the table of fish, or all figures of one KIND with their sources. It needs no daemon."""
    one = find_fish(kind) if kind else None
    if kind and one is None:
        raise click.UsageError(f'there is no fish "{kind[:40]}" in the table. {nearest_fish(kind)}'.strip())
    shown = [one] if one is not None else list(fish().values())
    if as_program:
        click.echo(json.dumps({"fish": [each.model_dump(mode="json") for each in shown]}, ensure_ascii=False))
        return
    for each in shown:
        ration = f"{each.ration.value:g} a day for each larva at first"
        click.echo(f"{each.id}: {each.name}, {ration}, swim up after {each.swim_up_days.value:g} days")
    if one is not None:
        for name, figure in one.figures().items():
            click.echo(f"  {name.replace('_', ' ')}: {figure.value:g} ({figure.told})")
        if one.note:
            click.echo(f"  {one.note}")


def _day(option: str, text: str, bench: Mapping[str, Any]) -> str:
    try:
        return as_rfc3339(day_of_form(option, text, bench, None))
    except Trouble as trouble:
        raise click.UsageError(trouble.detail) from trouble
