"""``swimup eater``: others than larvae that get young brine shrimp every day."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import tell
from monitor.cli.typed import COUNT
from monitor.core.wording import whole
from monitor.settings.discover import config_option

if TYPE_CHECKING:
    from pathlib import Path


@click.group()
def eater() -> None:
    """Say what others than larvae get every day."""


@eater.command("set")
@click.argument("name", metavar="EATER")
@click.argument("nauplii", callback=COUNT)
@click.option("--meals", type=int, help="Meals a day. Otherwise at each feeding time.")
@click.option("--largest-um", type=float, help="Longest young brine shrimp they take, um. Otherwise any.")
@config_option
@json_option
def set_it(
    name: str, nauplii: float, meals: int | None, largest_um: float | None, config: Path | None, as_program: bool
) -> None:
    """EATER get NAUPLII young brine shrimp a day, all together; 0 ends it."""
    with Client(config) as client:
        body = {"eater": name, "nauplii_per_day": nauplii, "meals": meals, "largest_um": largest_um}
        result = client.post("/eaters", body)
        told = f"{whole(nauplii)} a day" if nauplii else "nothing any more"
        tell(result, f"Noted: {name} get {told}.", as_program=as_program)
