"""``swimup store``: nauplii that are kept cold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import tell
from monitor.cli.typed import COUNT, VOLUME, instant, time_option
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.view import make_view

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import Any


@click.group()
def store() -> None:
    """Note what goes into a cold store and out of it, and that one is empty."""


@store.command()
@click.argument("name", metavar="STORE")
@click.option(
    "--nauplii", required=True, callback=COUNT, help='How many young brine shrimp: "200 000"; a guess will do.'
)
@click.option("--water", "--litres", "litres", required=True, callback=VOLUME, help='"0.5 L", "500 mL".')
@click.option("--gas", type=click.Choice(["open", "air", "oxygen"]), help="What is over the water. Otherwise open.")
@click.option("--gas-volume", callback=VOLUME, help='How much gas is closed in: "1 L".')
@click.option(
    "--aerated/--still", default=None, help="Whether air bubbles through it. Otherwise as the store has an air probe."
)
@click.option("--batch", help="The batch they come from.")
@time_option
@config_option
@json_option
def chill(
    name: str,
    nauplii: float,
    litres: float,
    gas: str | None,
    gas_volume: float | None,
    aerated: bool | None,
    batch: str | None,
    when: str | None,
    config: Path | None,
    as_program: bool,
) -> None:
    """Nauplii went into STORE. What is open there already is mixed, and counts as old as its oldest part."""
    with Client(config) as client:
        body = {
            "nauplii": nauplii,
            "litres": litres,
            "gas": gas,
            "gas_l": gas_volume,
            "aerated": aerated,
            "batch": batch,
            "time": instant(when, client.get("/bench")),
        }
        result = client.post(f"/stores/{segment(name)}/chill", body)
        until = _good_until(client.get("/bench"), name)
        tell(result, f"Noted: {words.whole(nauplii)} nauplii went into {name}.{until}", as_program=as_program)


@store.command()
@click.argument("name", metavar="STORE")
@time_option
@config_option
@json_option
def empty(name: str, when: str | None, config: Path | None, as_program: bool) -> None:
    """All that was in STORE is fed or thrown away."""
    with Client(config) as client:
        result = client.post(f"/stores/{segment(name)}/emptied", {"time": instant(when, client.get("/bench"))})
        tell(result, f"Noted: {name} is empty.", as_program=as_program)


@store.command()
@click.argument("name", metavar="STORE")
@click.argument("nauplii", callback=COUNT)
@click.option("--why", help="Why, for the record: dead, given away, counted.")
@time_option
@config_option
@json_option
def draw(name: str, nauplii: float, why: str | None, when: str | None, config: Path | None, as_program: bool) -> None:
    """NAUPLII young brine shrimp were taken out of STORE and not fed. What is fed: swimup feed."""
    with Client(config) as client:
        body = {"nauplii": nauplii, "why": why, "time": instant(when, client.get("/bench"))}
        result = client.post(f"/stores/{segment(name)}/drawn", body)
        tell(result, f"Noted: {words.whole(nauplii)} nauplii were taken out of {name}.", as_program=as_program)


def _good_until(bench: Mapping[str, Any], name: str) -> str:
    for one in make_view(dict(bench)).stores:
        if one.id == name and one.content is not None:
            return f" {one.content.lead} {one.content.main}. {one.content.spread}. {one.content.why}"
    return ""
