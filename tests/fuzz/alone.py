"""Times inputs by themselves, in a process without a fuzzer: ``python -m tests.fuzz.alone decode FILE ...``.

Prints for each file its least processor time of three, in ms, or null when the target raised.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Final

from tests.fuzz.target import find, taken_ms, warm

TIMES: Final = 3


def main(name: str, files: list[str]) -> None:
    target = find(name)
    warm(target)
    for file in files:
        data = Path(file).read_bytes()
        try:
            told: float | None = min(taken_ms(target, data) for _ in range(TIMES))
        except Exception:  # noqa: BLE001  (it was told with its place when it was found)
            told = None
        sys.stdout.write(json.dumps({"file": file, "ms": told}) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
