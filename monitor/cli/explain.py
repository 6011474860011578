"""``swimup alarm explain``: the guide's entry of an alarm, without asking a daemon."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

import click

from monitor.cli.client import json_option
from monitor.cli.told import plain
from monitor.guide import ENTRIES

if TYPE_CHECKING:
    from monitor.guide import Entry

WIDTH: Final = 88


@click.command()
@click.argument("name", metavar="[ALARM]", default="")
@json_option
def explain(name: str, as_program: bool) -> None:
    """Say what ALARM means, what to do, and what it does next, such as air-stopped; without one, list them all."""
    if not name:
        listed = {rule: one.title for rule, one in ENTRIES.items()}
        width = max(map(len, listed))
        lines = [f"{rule:<{width}}  {title}" for rule, title in listed.items()]
        click.echo(json.dumps(listed) if as_program else "\n".join(lines))
        return
    rule = name.partition(":")[0]
    entry = ENTRIES.get(rule)
    if entry is None:
        near = get_close_matches(rule, ENTRIES, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise click.BadParameter(
            f'found "{plain(rule)}"; allowed is one of: {", ".join(ENTRIES)}.{hint}', param_hint="ALARM"
        )
    click.echo(json.dumps(asdict(entry), ensure_ascii=False) if as_program else explained(entry))


def explained(entry: Entry) -> str:
    """The entry as lines of a terminal."""
    defaults = [
        f"{one.what}: {one.value}. {_sentence(one.why)}" + (f" Change: {one.change}." if one.change else "")
        for one in entry.defaults
    ]
    parts = [
        f"{entry.example}: {entry.title} ({entry.priority})",
        _wrapped(entry.meaning),
        "What to do:\n" + "\n".join(_wrapped(step, f"{n}. ") for n, step in enumerate(entry.todo, 1)),
        "What it does next:\n" + _wrapped(entry.then, "  "),
        "Its numbers:\n" + "\n".join(_wrapped(line, "- ") for line in defaults),
        "When it rings too often:\n" + _wrapped(entry.quieter, "  "),
    ]
    return "\n\n".join(parts).replace("`", "")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _wrapped(text: str, lead: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))
