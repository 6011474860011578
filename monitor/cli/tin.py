"""``swimup tin``: tins of cysts, what is in them and what they have taught."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, Said, json_option, segment
from monitor.cli.told import plain, tell
from monitor.cli.typed import COUNT, LABEL, LEFT, LENGTH, PRICE, TIN_MASS, instant, past, time_option
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.food_typed import Place
from monitor.web.ledger_fields import STORED
from monitor.web.tins_view import find_tin, tin_view

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from monitor.web.tins_view import TinView


@click.group()
def tin() -> None:
    """Tell of tins: bought, opened, weighed; list what is left in them."""


@tin.command("list")
@config_option
@json_option
def list_tins(config: Path | None, as_program: bool) -> None:
    """Tell of each tin what is left, how it hatches, and what a million young ones cost."""
    with Client(config) as client:
        bench, found = client.get("/bench"), client.get("/tins")["tins"]
    if as_program:
        click.echo(json.dumps(found, ensure_ascii=False))
        return
    place = Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))
    for one in found:
        click.echo(plain("\n".join(_lines(tin_view(one, place)))))
    if not found:
        click.echo("None yet. swimup tin add NAME tells of one.")


def _lines(view: TinView) -> list[str]:
    left = f"{view.left} left" if view.left else "how much is in it nobody has told"
    head = f"{view.id}: {left}{f', {view.lasts}' if view.lasts else ''}"
    facts = [f"  {name}: {text}" for name, text in view.facts]
    return [
        head,
        *([f"  {view.strain}"] if view.strain else []),
        *facts,
        *([f"  {view.caution}"] if view.caution else []),
    ]


@tin.command()
@click.argument("name", metavar="TIN")
@click.option("--strain", help="Where the cysts come from: sfb, gsl, or as the label has it.")
@click.option("--grams", callback=TIN_MASS, help='What was in it when it was new: "50 g".')
@click.option("--price", callback=PRICE, help='What all of it cost: "12.50".')
@click.option("--label", callback=LABEL, help="Hatch on the label, per cent: 85.")
@click.option("--kept", type=click.Choice(list(STORED)), help="Where it is kept.")
@click.option("--bought", metavar="DAY", help="When, such as 2026-03-02. Otherwise now, or when it was used first.")
@click.option("--opened", metavar="DAY", help="When, such as 2026-03-02.")
@click.option("--cysts-per-gram", callback=COUNT, help="Where you counted.")
@click.option("--length", callback=LENGTH, help="Of a young one, where you measured: thousandths of a millimetre.")
@config_option
@json_option
def add(
    name: str,
    strain: str | None,
    grams: float | None,
    price: float | None,
    label: float | None,
    kept: str | None,
    bought: str | None,
    opened: str | None,
    cysts_per_gram: float | None,
    length: float | None,
    config: Path | None,
    as_program: bool,
) -> None:
    """Tell of TIN, or change what was told; what is not said stays."""
    with Client(config) as client:
        bench = client.get("/bench")
        new = find_tin(bench, name) is None
        body = {
            "strain": strain,
            "grams": grams,
            "price": price,
            "label_hatch_percent": label,
            "kept": kept,
            "bought": past("--bought", bought, bench),
            "opened": past("--opened", opened, bench),
            "cysts_per_g": cysts_per_gram,
            "length_um": length,
        }
        result = client.post(f"/tins/{segment(name)}", body)
        told = f"Noted: {name} is a new tin." if new else f"Noted what is told of {name}."
        tell(result, f"{told}{_left(client.get('/bench'), name)}", as_program=as_program)


@tin.command("open")
@click.argument("name", metavar="TIN")
@time_option
@config_option
@json_option
def open_tin(name: str, when: str | None, config: Path | None, as_program: bool) -> None:
    """TIN was opened."""
    with Client(config) as client:
        bench = client.get("/bench")
        if find_tin(bench, name) is None:
            raise Said(
                f"There is no tin {name}; swimup tin list tells those there are, swimup tin add tells of a new one."
            )
        result = client.post(f"/tins/{segment(name)}", {"opened": instant(when, bench) or bench["now"]})
        tell(result, f"Noted: {name} is open.", as_program=as_program)


@tin.command()
@click.argument("name", metavar="TIN")
@click.argument("grams", callback=LEFT)
@time_option
@config_option
@json_option
def weigh(name: str, grams: float, when: str | None, config: Path | None, as_program: bool) -> None:
    """GRAMS are left in TIN, such as "31.5 g", whatever the record says."""
    with Client(config) as client:
        body = {"grams": grams, "time": instant(when, client.get("/bench"))}
        result = client.post(f"/tins/{segment(name)}/weighed", body)
        tell(result, f"Noted: {words.number(grams, 2)} g are left in {name}.", as_program=as_program)


def _left(bench: Mapping[str, Any], name: str) -> str:
    found = find_tin(bench, name)
    if found is None or found["left_g"] is None:
        return ""
    return f" {words.number(found['left_g'], 2)} g are left in it."
