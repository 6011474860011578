from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from monitor.score.problem import ScoreProblem
from monitor.score.seeds import seeds_of

if TYPE_CHECKING:
    from pathlib import Path

COMMIT = "0123456789abcdef0123456789abcdef01234567"
OTHER = "0123456789abcdef0123456789abcdef01234568"


def test_seeds_follow_from_the_commit_alone() -> None:
    """The same commit gives the same three different seeds of 32 bits, however its digits are written."""
    seeds = seeds_of(COMMIT)
    assert seeds == seeds_of(f" {COMMIT.upper()}\n")
    assert len(set(seeds)) == 3
    assert all(0 <= seed < 2**32 for seed in seeds)


def test_seeds_never_change_from_one_version_to_the_next() -> None:
    """What was published with a commit can be had again: its seeds stay these numbers."""
    assert seeds_of(COMMIT, 2) == (0xE17C4AF2, 0xDF89C078)


def test_the_next_commit_has_other_seeds() -> None:
    """One digit more or less changes every seed."""
    assert set(seeds_of(COMMIT)).isdisjoint(seeds_of(OTHER))


def test_more_seeds_only_add() -> None:
    """The first three of ten are the three, and the ten are different."""
    assert seeds_of(COMMIT, 10)[:3] == seeds_of(COMMIT)
    assert len(set(seeds_of(COMMIT, 10))) == 10


@pytest.mark.parametrize("commit", ["", "0123456", "main", COMMIT + "0", COMMIT[:-1] + "g"])
def test_what_is_no_whole_hash_is_refused(commit: str) -> None:
    """A shortened hash, a branch or a typing error is told with what is needed, and gives no seeds."""
    with pytest.raises(ScoreProblem, match=r"needed are its 40 \(or 64\) hexadecimal digits"):
        seeds_of(commit)


def test_three_populations_are_told_apart_and_together(tmp_path: Path) -> None:
    """Each seed's report stands by itself behind one table of all limits, in Markdown and in JSON, and nothing is left behind."""
    text, file = tmp_path / "score.md", tmp_path / "score.json"
    arguments = ["score", "--simulated", "--seeds-from", COMMIT, "--tins", "1", "--batches", "1", "--new-tins", "1"]
    done = CliRunner().invoke(swimup, [*arguments, "--jobs", "1", "--markdown", str(text), "--json", str(file)])
    assert done.exit_code == 0, done.output
    seeds = seeds_of(COMMIT)
    report, found = text.read_text(), json.loads(file.read_text())
    assert (found["commit"], tuple(found["seeds"]), found["tins"]) == (COMMIT, seeds, [2, 2, 2])
    assert [run["source"] for run in found["runs"]] == [
        f"simulated, 1 tins of 1 batches and 1 of one batch, seed {seed}" for seed in seeds
    ]
    assert [limit["passed"] for limit in found["limits"]] == [[None] * 3] * len(found["limits"])
    assert f"| limit | {' | '.join(f'seed {seed}' for seed in seeds)} |" in report
    assert [line for line in report.splitlines() if line.startswith("## ")] == [f"## Seed {seed}" for seed in seeds]
    assert report.count("### Limits") == 3


def test_seeds_from_a_commit_need_a_simulation(tmp_path: Path) -> None:
    """A folder is what it is: seeds for it are refused."""
    done = CliRunner().invoke(swimup, ["score", "--folder", str(tmp_path), "--seeds-from", COMMIT])
    assert done.exit_code == 2
    assert "goes with --simulated" in done.stderr


def test_a_wrong_commit_is_told_before_anything_is_drawn() -> None:
    """A shortened hash ends the command with exit code 2 and a sentence."""
    done = CliRunner().invoke(swimup, ["score", "--simulated", "--seeds-from", "0123456"])
    assert done.exit_code == 2
    assert "is no commit's whole hash" in done.stderr
