"""``swimup count``: what counted drops tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import plain, tell
from monitor.cli.typed import COUNT, DILUTION, DROP, DROPS, MASS, VOLUME
from monitor.core.counting import USUAL_DROP_ML
from monitor.settings.discover import config_option
from monitor.web.count_words import CountView, view

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.counting import Drops


@click.command(short_help="Tell what counted drops say.")
@click.option("--drops", required=True, callback=DROPS, help='Counted in each drop: "12,15,9"; or all: "36 in 3".')
@click.option(
    "--drop", "drop_ml", callback=DROP, default=f"{USUAL_DROP_ML} ml", show_default=True, help="Volume of one drop."
)
@click.option(
    "--dilution", callback=DILUTION, help="How many times it was diluted before: 10 mL made up to 100 mL is 10."
)
@click.option("--water", "--litres", "litres", callback=VOLUME, help='In the vessel: "1.5 L".')
@click.option("--cysts", callback=MASS, help='That were put in: "2 g".')
@click.option("--cysts-per-gram", callback=COUNT, help="Cysts in a gram, where you know it.")
@click.option("--tin", help="The tin: its strain says about how many cysts a gram has.")
@config_option
@json_option
def count(
    drops: Drops,
    drop_ml: float,
    dilution: float | None,
    litres: float | None,
    cysts: float | None,
    cysts_per_gram: float | None,
    tin: str | None,
    config: Path | None,
    as_program: bool,
) -> None:
    """Tell how many swim, what a gram of cysts gave and what share hatched, with 8 chances in 10. Nothing is logged.

    Stir, take a few drops at once, and count what swims in each under a lens.
    """
    body = {
        "drops": list(drops.each) or None,
        "total": None if drops.each else drops.total,
        "number": None if drops.each else drops.number,
        "drop_ml": drop_ml,
        "dilution": dilution,
        "litres": litres,
        "cysts_g": cysts,
        "cysts_per_g": cysts_per_gram,
        "tin": tin,
    }
    with Client(config) as client:
        answer = client.post("/count", body)
    if as_program:
        tell(answer, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(view(answer)))))


def described(told: CountView) -> list[str]:
    heads = ("", "likely", told.chances)
    table = [heads, *((row.name, row.mid, row.span) for row in told.rows)]
    first, second = (max(len(cells[column]) for cells in table) for column in (0, 1))
    lines = [f"{name:<{first}}  {mid:>{second}}  {span}".rstrip() for name, mid, span in table]
    return [told.text, told.about, "", *lines, *([""] if told.notes else []), *told.notes]
