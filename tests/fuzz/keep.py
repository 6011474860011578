"""Takes over into the repository what of a grown corpus goes ways through the program that nothing smaller goes."""

from __future__ import annotations

import sys
import tomllib
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import monitor
from tests.fuzz.target import CORPUS, find, warm

if TYPE_CHECKING:
    from collections.abc import Iterable
    from types import FrameType

    from tests.fuzz.target import Target

MOST: Final = 60
MOST_BYTES: Final = 10_000
"""For a target; what was put there by hand comes on top."""
HASHED: Final = 12
WATCHED: Final = (str(Path(monitor.__file__).parent), str(Path(tomllib.__file__).parent))

Way = tuple[str, int, int]
"""A file, and two lines of it that ran one after the other."""


def ways(target: Target, data: bytes) -> set[Way]:
    """Those that one input goes."""
    found: set[Way] = set()

    def enter(frame: FrameType, _event: str, _argument: Any) -> Any:
        file, before = frame.f_code.co_filename, frame.f_lineno
        if not file.startswith(WATCHED):
            return None

        def step(frame: FrameType, event: str, _argument: Any) -> Any:
            nonlocal before
            if event == "line":
                found.add((file, before, frame.f_lineno))
                before = frame.f_lineno
            return step

        return step

    sys.settrace(enter)
    try:
        with suppress(Exception):  # a fault is told when it is found; here it is only a way
            target.one(data)
    finally:
        sys.settrace(None)
    return found


def needed(target: Target, known: Iterable[bytes], inputs: Iterable[bytes]) -> list[bytes]:
    """Of these inputs, the smallest first, each that goes a way that neither a known one nor one before it goes."""
    warm(target)
    gone: set[Way] = set()
    for data in known:
        gone |= ways(target, data)
    kept: list[bytes] = []
    size = 0
    for data in sorted(set(inputs), key=lambda one: (len(one), one)):
        new = ways(target, data)
        if not new <= gone and len(kept) < MOST and size + len(data) <= MOST_BYTES:
            gone |= new
            kept.append(data)
            size += len(data)
    return kept


def take_over(name: str, grown: Path) -> str:
    """Renew what was taken over before; inputs with a name of their own stay. Says in a sentence what was kept."""
    target, folder = find(name), CORPUS / name
    folder.mkdir(parents=True, exist_ok=True)
    before = [path for path in folder.iterdir() if _is_ours(path)]
    own = [path.read_bytes() for path in folder.iterdir() if not _is_ours(path)]
    inputs = [path.read_bytes() for path in (*grown.iterdir(), *before)]
    kept = needed(target, [b"", *target.seeds(), *own], inputs)
    for path in before:
        path.unlink()
    for data in kept:
        (folder / sha256(data).hexdigest()[:HASHED]).write_bytes(data)
    return f"{name}: {len(kept)} of {len(inputs)} inputs are kept"


def _is_ours(path: Path) -> bool:
    return len(path.name) == HASHED and set(path.name) <= set("0123456789abcdef")
