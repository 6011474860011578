"""What a fuzz target is, and all of them by name."""

from __future__ import annotations

import time
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

LIMIT_MS: Final = 50.0
"""Processor time; a message that takes longer holds up the readings behind it."""
CORPUS: Final = Path(__file__).parent / "corpus"

MODULES: Final = {
    "decode": "on_decode",
    "number": "on_decode",
    "json": "on_decode",
    "senml": "on_decode",
    "document": "on_decode",
    "listen": "on_topics",
    "commands": "on_topics",
    "rooms": "on_topics",
    "config": "on_settings",
    "units": "on_settings",
    "readings": "on_recorded",
    "log": "on_recorded",
    "replay": "on_recorded",
    "archive": "on_archive",
    "import": "on_archive",
    "pantry": "on_food",
    "calendar": "on_food",
    "planted": "planted",
}
"""Each in the module that has it, so that a run loads, and watches, no more than it needs."""

GROUPS: Final = {
    "decoders": ("number", "json", "senml", "document", "listen", "commands", "rooms"),
    "files": ("config", "units", "readings", "log", "replay", "archive", "import", "pantry", "calendar"),
}
REAL: Final = tuple(name for name in MODULES if name != "planted")


@dataclass(frozen=True, slots=True)
class Target:
    """``one`` takes any bytes: True when they were taken, False when they were refused as is promised; else it raises.

    ``share``: of the inputs a group is asked for, where one takes long by its nature.
    """

    name: str
    one: Callable[[bytes], bool]
    seeds: Callable[[], Iterable[bytes]]
    words: tuple[bytes, ...] = ()
    longest: int = 4096
    limit_ms: float = LIMIT_MS
    share: float = 1.0


def find(name: str) -> Target:
    """The target of this name, its module loaded."""
    made: dict[str, Target] = {one.name: one for one in import_module(f"tests.fuzz.{MODULES[name]}").TARGETS}
    return made[name]


def kept(name: str) -> list[Path]:
    """The corpus of a target that is in the repository."""
    return sorted(path for path in (CORPUS / name).glob("*") if path.is_file())


def taken_ms(target: Target, data: bytes) -> float:
    """Processor time of one input, ms. Raises what the target raises."""
    begun = time.process_time_ns()
    target.one(data)
    return (time.process_time_ns() - begun) / 1e6


def warm(target: Target) -> None:
    """Whatever is loaded or made at first use is so afterwards. Raises what the target raises."""
    for data in (b"", *target.seeds()):
        target.one(data)
