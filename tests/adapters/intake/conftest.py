"""Fixtures for a session that has to die, and for throw-away certificates."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import IO, TYPE_CHECKING

import pytest

from tests.adapters.intake.certificates import Authority

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto

ROOT = Path(__file__).parents[3]


class LoneSession:
    """See lone_session.py."""

    def __init__(self, broker: Mosquitto, client_id: str, topic: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("lone_session.py")), str(broker.port), client_id, topic],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert self._process.stdout is not None
        self._said: IO[str] = self._process.stdout

    def wait_for(self, line: str) -> None:
        """Read what it says until it says this."""
        for said in self._said:
            if said.strip() == line:
                return
        pytest.fail(f"the session ended without saying {line!r}")

    def kill(self) -> None:
        self._process.kill()
        self._process.wait(10)
        self._said.close()


@pytest.fixture
def lone_session() -> Iterator[Callable[..., LoneSession]]:
    made: list[LoneSession] = []

    def make(broker: Mosquitto, client_id: str, topic: str) -> LoneSession:
        made.append(LoneSession(broker, client_id, topic))
        return made[-1]

    yield make
    for session in made:
        session.kill()


@pytest.fixture
def authorities(tmp_path: Path) -> Callable[[str], Authority]:
    """Makes authorities that issue certificates: ``authorities("ours")``."""
    return lambda name: Authority(tmp_path / name, name)
