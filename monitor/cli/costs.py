"""``swimup costs``: what food has cost, and which tin is the cheapest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.web.cost_words import million, money

if TYPE_CHECKING:
    from pathlib import Path


@click.command()
@click.option("--days", type=click.IntRange(1, 36_500), help="How far back; otherwise all that is known.")
@config_option
@json_option
def costs(days: int | None, config: Path | None, as_program: bool) -> None:
    """Tell what a million young brine shrimp cost, and what made them dear."""
    with Client(config) as client:
        told = client.get("/costs" if days is None else f"/costs?days={days}")
    if as_program:
        tell(told, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(told))))


def described(told: dict[str, Any]) -> list[str]:
    currency = told["currency"]
    lines = [told["text"], *(text for text in (told["cheapest"], told["missing"]) if text)]
    lines += _block("What makes a million dear", [(one["name"], money(one["adds"], currency)) for one in told["steps"]])
    for title, name in (("By tin", "lots"), ("By month", "months")):
        lines += _block(title, [(one["name"], _group(one, currency)) for one in told[name]])
    fed = [
        (one["brood"] or "nobody named", f"{million(one['nauplii'])}, {money(one['cost'], currency)}")
        for one in told["broods"]
    ]
    return lines + _block("By brood", fed)


def _group(one: dict[str, Any], currency: str) -> str:
    many = f"{one['batches']} batch{'' if one['batches'] == 1 else 'es'}"
    failed = f", {one['failed']} thrown away" if one["failed"] else ""
    each = "" if one["per_million"] is None else f", {money(one['per_million'], currency)} a million"
    return f"{many}{failed}, {one['cysts_g']:.1f} g, {money(one['cost']['total'], currency)}{each}"


def _block(title: str, rows: list[tuple[str, str]]) -> list[str]:
    if not rows:
        return []
    wide = max(len(name) for name, _ in rows)
    return ["", f"{title}:", *(f"  {name:<{wide}}  {text}" for name, text in rows)]
