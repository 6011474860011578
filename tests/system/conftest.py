"""The real process for tests: started with a broker and a phone, ended with the test."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import Daemon, Phone
from tests.system.quick import QuickDaemon

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.conftest import BrokerFactory, Mosquitto


@pytest.fixture
def mosquitto(brokers: BrokerFactory) -> Mosquitto:
    """A started broker that is not killed: it need not save each of a thousand messages, which would be the longest part."""
    return brokers(extra=["persistence false"])


@pytest.fixture
def daemons(tmp_path: Path) -> Iterator[Callable[[str], Daemon]]:
    """Makes daemons from the text of a configuration; not yet started, ended with the test. They start in a moment."""
    with made_of(QuickDaemon, tmp_path) as make:
        yield make


@pytest.fixture
def installed_daemons(tmp_path: Path) -> Iterator[Callable[[str], Daemon]]:
    """The same, each started as the installed command: where the start, the memory or the environment is what counts."""
    with made_of(Daemon, tmp_path) as make:
        yield make


@contextmanager
def made_of(kind: type[Daemon], folder: Path) -> Iterator[Callable[[str], Daemon]]:
    made: list[Daemon] = []

    def make(text: str) -> Daemon:
        daemon = kind(folder / f"daemon-{len(made)}", text)
        made.append(daemon)
        return daemon

    yield make
    for daemon in made:
        daemon.tear_down()


@pytest.fixture
def phone() -> Iterator[Phone]:
    """A phone that is reached."""
    made = Phone()
    made.start()
    yield made
    made.stop()
