"""Every input that was worth keeping, through what it was found with; and the fuzzer itself, briefly."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from tests.fuzz.fuzzing import MISSING, fuzz, installed, to_be_had
from tests.fuzz.target import CORPUS, MODULES, REAL, find, kept

if TYPE_CHECKING:
    from pathlib import Path

LARGEST = 200_000  # bytes, all of it
FEW = 60
INPUTS = 3000


def need_atheris() -> None:
    """Skips the test where there is no fuzzer; on a machine of ours that could have it, that is a failure."""
    if not installed():
        assert not (to_be_had() and os.environ.get("CI") == "true"), MISSING
        pytest.skip(MISSING)


@pytest.mark.parametrize("name", REAL)
def test_what_was_kept_is_taken_or_refused(name: str) -> None:
    """No input that ever was of interest raises what it may not, those that once did among them."""
    target = find(name)
    inputs = [path.read_bytes() for path in kept(name)]
    assert inputs
    for data in inputs[: FEW if target.share < 1 else None]:
        assert target.one(data) in (True, False)


@pytest.mark.parametrize("name", REAL)
def test_inputs_to_begin_with_are_taken(name: str) -> None:
    """A fuzzer that begins with nothing but refused inputs would look at refusals alone."""
    target = find(name)
    assert any(target.one(data) for data in list(target.seeds())[:FEW])


def test_the_corpus_is_small_and_nothing_in_it_is_forgotten() -> None:
    """It is no burden to carry, and each folder of it belongs to a target."""
    assert sum(path.stat().st_size for path in CORPUS.rglob("*") if path.is_file()) < LARGEST
    assert {path.name for path in CORPUS.iterdir()} == set(REAL) == set(MODULES) - {"planted"}


def test_a_planted_fault_is_found(tmp_path: Path) -> None:
    """The fuzzer works its way to a fault behind three letters and to an input that is too slow, and tells both."""
    need_atheris()
    found = fuzz("planted", 40_000, tmp_path)
    assert found.crashes == 1
    assert found.slowest_ms > found.limit_ms
    assert [fault.partition(" at ")[0] for fault in found.faults[:1]] == ["planted: ZeroDivisionError"]
    assert any(" took " in fault for fault in found.faults)
    assert list((tmp_path / "found" / "planted").glob("fault-*"))
    assert list((tmp_path / "found" / "planted").glob("slow-*"))


def test_the_fuzzer_finds_new_ways_through_the_decoders(tmp_path: Path) -> None:
    """A short run tries as many messages as it was told, keeps such as went new ways, and meets no fault."""
    need_atheris()
    found = fuzz("decode", INPUTS, tmp_path)
    assert found.faults == []
    assert found.inputs == INPUTS
    assert found.kept > 0
    assert found.taken > 0
