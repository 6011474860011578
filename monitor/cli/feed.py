"""``swimup feed``: who was fed, how many, and from where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import tell
from monitor.cli.typed import COUNT, instant, time_option
from monitor.settings.discover import config_option
from monitor.web import words

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


@click.command(short_help="Note what a brood was fed.")
@click.argument("brood", metavar="BROOD")
@click.argument("nauplii", callback=COUNT)
@click.option("--from", "source", metavar="STORE|BATCH", help="The cold store, or the batch they were harvested from.")
@time_option
@config_option
@json_option
def feed(
    brood: str, nauplii: float, source: str | None, when: str | None, config: Path | None, as_program: bool
) -> None:
    """BROOD (or eater) got NAUPLII young brine shrimp, such as "20 000"; a guess will do. "-" is nobody in particular."""
    with Client(config) as client:
        bench = client.get("/bench")
        store = _is_store(bench, source)
        one = {
            "nauplii": nauplii,
            "brood": None if brood == "-" else brood,
            "store": source if store else None,
            "batch": None if store else source,
        }
        meal = {name: value for name, value in one.items() if value is not None}
        result = client.post("/feedings", {"fed": [meal], "time": instant(when, bench)})
        left = _left(client.get("/bench"), source) if store else ""
        who = "nobody in particular" if brood == "-" else brood
        tell(result, f"Noted: {words.whole(nauplii)} to {who}.{left}", as_program=as_program)


def _is_store(bench: Mapping[str, Any], source: str | None) -> bool:
    return any(store["id"] == source for store in bench["stores"])


def _left(bench: Mapping[str, Any], name: str | None) -> str:
    content = next((store["content"] for store in bench["stores"] if store["id"] == name), None)
    if content is None:
        return f" {name} is empty now."
    return f" About {words.whole(content['nauplii'])} are left in {name}."
