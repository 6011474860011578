"""``deploy/threats.md`` is held by tests, line by line."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
_NAMED: Final = re.compile(r"`(test_\w+)`")
_DEFINED: Final = re.compile(r"^(?:async )?def (test_\w+)\(", re.MULTILINE)


def lines() -> list[list[str]]:
    """The cells of each line of the table, without its head."""
    text = (ROOT / "deploy" / "threats.md").read_text()
    rows = [row.strip("|").split("|") for row in text.splitlines() if row.startswith("|")]
    assert [cell.strip() for cell in rows[0]] == ["threat", "answer", "held by"]
    return rows[2:]


def test_every_threat_has_an_answer_and_a_test_that_is_there() -> None:
    """A line without a test is a wish, and one whose test is gone is a lie."""
    there = Counter(name for file in (ROOT / "tests").rglob("test_*.py") for name in _DEFINED.findall(file.read_text()))
    assert len(lines()) > 25
    for row in lines():
        assert len(row) == 3, row
        threat, answer, held = (cell.strip() for cell in row)
        names = _NAMED.findall(held)
        assert threat, row
        assert answer, row
        assert names, threat
        assert [name for name in names if there[name] != 1] == [], threat


def test_every_attack_that_is_tried_is_told() -> None:
    """Whoever adds an attack says what it is against."""
    told = {name for row in lines() for name in _NAMED.findall(row[2])}
    files = (ROOT / "tests" / "adapters" / "web").glob("test_attacks*.py")
    tried = {name for file in files for name in _DEFINED.findall(file.read_text())}
    assert len(tried) > 25
    assert tried - told == set()
