"""A measured value as the page says it, with its age and what is wrong with it. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import MINUTE, SECOND, Ms
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

AGE_SHOWN_FROM: Final[Ms] = 2 * MINUTE
"""A fresh number older than this says its age too (a probe may report every ten minutes)."""


@light
class Measured:
    text: str
    word: str  # "running", "weak", "stopped", "unknown" for air; "" for temperatures
    fresh: bool
    time: Ms | None
    age: str  # "" while it is young and fresh
    doubt: str  # what is wrong with it, in words
    probe: str


def instant_of(text: str | None) -> Ms | None:
    return rfc3339(text) if text else None


def measured(item: Mapping[str, Any] | None, now: Ms, *, air: bool = False) -> Measured:
    if item is None or item["value"] is None:
        nothing = "not known" if air else "no reading"
        probe = item["probe"] if item else ""
        return Measured(nothing, "unknown" if air else "", fresh=False, time=None, age="", doubt="", probe=probe)
    time = instant_of(item["time"])
    age_ms = round(item["age_s"] * SECOND) if item.get("age_s") is not None else 0
    if time is None:
        time = now - age_ms
    fresh = bool(item["fresh"])
    if air:
        word = item["value"] if item["value"] in ("running", "weak", "stopped") else "unknown"
        text = "not known" if word == "unknown" else word
    else:
        word, text = "", f"{words.number(float(item['value']))}{words.DEGREE}"
    age = words.duration(age_ms) if not fresh or age_ms >= AGE_SHOWN_FROM else ""
    return Measured(text, word, fresh, time, age, words.QUALITIES.get(item["quality"], item["quality"]), item["probe"])
