from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

import pytest

from monitor.probe.board import BoardRunner
from monitor.probe.clock import Clock
from monitor.probe.settings import from_document
from tests.board_tree import Tree

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.conftest import Mosquitto


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    return Tree(tmp_path / "sys")


class Running:
    """A board at work in a thread of the test."""

    def __init__(self, runner: BoardRunner) -> None:
        self.runner = runner
        self.halt = threading.Event()
        self.well: list[bool] = []
        self._thread = threading.Thread(target=lambda: self.well.append(runner.run(self.halt)), name="board")
        self._thread.start()

    def stop(self) -> None:
        self.halt.set()
        self._thread.join(15)
        assert not self._thread.is_alive()


@pytest.fixture
def boards(tmp_path: Path, tree: Tree) -> Iterator[Callable[..., Running]]:
    """Starts boards that end with the test: ``boards(mosquitto, one_wire=[...], clock=...)``."""
    made: list[Running] = []

    def make(there: Mosquitto, *, clock: Clock | None = None, **tables: Any) -> Running:
        board = {"id": "zero-1", "topic": "shed/zero", "count_file": str(tmp_path / "zero.count")} | tables.pop(
            "board", {}
        )
        settings = from_document({"board": board, "broker": {"url": there.url} | tables.pop("broker", {}), **tables})
        clock = clock or Clock(trusted=True)
        made.append(Running(BoardRunner(settings, tree.root, clock=clock, first_delay_s=0.05, longest_delay_s=0.3)))
        return made[-1]

    yield make
    for running in made:
        running.stop()
