"""Printing for people or for programs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Mapping


def tell(result: Mapping[str, Any], sentence: str, *, as_program: bool) -> None:
    """One JSON document, or one sentence."""
    click.echo(json.dumps(result, ensure_ascii=False) if as_program else plain(sentence))


def plain(text: str) -> str:
    """Without control characters: names come from elsewhere, and a terminal obeys what it is sent."""
    return "".join(letter if letter.isprintable() or letter == "\n" else "\N{REPLACEMENT CHARACTER}" for letter in text)
