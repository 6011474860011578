"""``swimup salt``: how much salt, and what an instrument means. It needs no daemon."""

from __future__ import annotations

from typing import Any

import click

from monitor.cli.client import json_option
from monitor.cli.told import plain, tell
from monitor.web.problems import Trouble
from monitor.web.salt_form import FIELDS, WAYS, read_form
from monitor.web.salted import document, reckoned


def _texts(command: Any) -> Any:
    for name, told in reversed(
        (
            ("--target", 'Wanted: "25 g/L", "25 ppt".'),
            ("--litres", 'Of finished water: "1.5 L".'),
            ("--hydrometer", 'What it shows: "1.0185".'),
            ("--refractometer", 'What its ppt scale shows: "25".'),
            ("--conductivity", 'What a meter shows: "38 mS/cm".'),
            ("--known", 'Salt in the water, where you know it: "28 g/L".'),
            ("--at", 'The water\'s temperature: "25 C". Otherwise 25 C.'),
            ("--reference", 'What the hydrometer is made for: "60/60 F". Otherwise 25/25 C.'),
            ("--lost", 'Dried up since it was full: "200 mL".'),
            ("--tap", 'Salt in plain water: "0.3 g/L". Otherwise none.'),
            ("--share", 'How much of what is weighed is salt: "93 %".'),
            ("--spoon", 'A level spoon of this salt, weighed: "6 g".'),
        )
    ):
        command = click.option(name, default="", metavar="TEXT", help=told)(command)
    return command


@click.command(short_help="Tell how much salt, and what a hydrometer means.")
@click.option(
    "--kind",
    type=click.Choice(["plain", "sea"]),
    default="plain",
    show_default=True,
    help="Plain salt (NaCl), or sea salt and mixes.",
)
@_texts
@json_option
def salt(kind: str, as_program: bool, **given: str) -> None:
    """Tell how much salt to weigh, what an instrument means, and how to mend water. Nothing is logged.

    With --target and --litres the salt for new water; with an instrument's option too, what to add or take out.
    """
    measured = [way for way, _ in WAYS if given[way].strip()]
    if len(measured) > 1:
        raise click.UsageError(f"Give one of --{', --'.join(measured)}.")
    form = {name: given.get(name, "") for name in FIELDS}
    form |= {"kind": kind, "by": measured[0] if measured else "", "shown": given[measured[0]] if measured else ""}
    try:
        answer = document(reckoned(read_form(form)))
    except Trouble as trouble:
        raise click.UsageError(trouble.detail) from trouble
    if as_program:
        tell(answer, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(answer))))


def described(answer: dict[str, Any]) -> list[str]:
    names = [row["name"] for row in answer["rows"]]
    wide = max(map(len, names), default=0)
    lines = [f"{row['name']:<{wide}}  {row['text']}" for row in answer["rows"]]
    return [answer["text"], *([""] if lines else []), *lines, *([""] if answer["notes"] else []), *answer["notes"]]
