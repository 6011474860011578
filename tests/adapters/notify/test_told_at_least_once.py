from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from monitor.store import Store

HERE = Path(__file__).parent
ROOT = HERE.parents[2]


def child(path: Path, address: str, alarms: int, manner: str = "urgent") -> subprocess.Popen[str]:
    command = [sys.executable, str(HERE / "telling_child.py"), str(path), address, str(alarms), manner]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)})


def posted(process: subprocess.Popen[str]) -> None:
    assert process.stdout is not None
    assert process.stdout.readline() == "posted\n"


def test_letters_that_were_refused_arrive_after_a_kill_and_a_restart(tmp_path: Path, catcher: Any) -> None:
    """Nothing that was committed is forgotten: all letters come through once the service and the channel are back."""
    path = tmp_path / "swimup.db"
    catcher.refusing = 500
    with child(path, catcher.url("200"), 5) as process:
        posted(process)
        process.send_signal(signal.SIGKILL)
    assert catcher.all_caught() == []
    catcher.refusing = None
    with child(path, catcher.url("200"), 0) as process:
        posted(process)
        assert process.wait(timeout=30) == 0
    assert {caught["title"] for caught in catcher.all_caught()} == {f"Cold {number}" for number in range(5)}
    with Store.open(path) as store:
        assert store.undelivered() == []


@pytest.mark.parametrize("told", [1, 4, 7])
def test_a_kill_while_telling_repeats_but_forgets_nothing(tmp_path: Path, catcher: Any, told: int) -> None:
    """Killed in the middle of telling: every letter arrives, and a repeated one carries the token of the first."""
    path = tmp_path / "swimup.db"
    with child(path, catcher.url("200"), 8) as process:
        posted(process)
        caught = [catcher.next() for _ in range(told)]
        process.send_signal(signal.SIGKILL)
    with child(path, catcher.url("200"), 0) as process:
        posted(process)
        assert process.wait(timeout=30) == 0
    caught += catcher.all_caught()
    assert {each["title"] for each in caught} == {f"Cold {number}" for number in range(8)}
    assert len({each["message"] for each in caught}) == 8


@pytest.mark.parametrize("told", [0, 1, 2, 3])
def test_a_kill_in_a_storm_forgets_nothing_of_its_digests(tmp_path: Path, catcher: Any, told: int) -> None:
    """Merged letters survive too: every alarm is named, and what came twice is the same letter with the same token."""
    path = tmp_path / "swimup.db"
    with child(path, catcher.url("200"), 12, "storm") as process:
        posted(process)
        caught = [catcher.next() for _ in range(told)]
        process.send_signal(signal.SIGKILL)
    with child(path, catcher.url("200"), 0, "storm") as process:
        posted(process)
        assert process.wait(timeout=30) == 0
    caught += catcher.all_caught()
    named = [set(re.findall(r"Cold \d+", each["title"] + each["message"])) for each in caught]
    assert set.union(*named) == {f"Cold {number}" for number in range(12)}
    by_token = {each["message"].rpartition("ref ")[2]: names for each, names in zip(caught, named, strict=True)}
    assert len({each["message"] for each in caught}) == len(by_token)
    assert sum(len(names) for names in by_token.values()) == 12
    with Store.open(path) as store:
        letters = {one.id: one for one in store.letters_since(0)}
    assert {one.state for one in letters.values()} == {"told", "merged"}
    assert all(letters[one.merged_into].state == "told" for one in letters.values() if one.merged_into is not None)
