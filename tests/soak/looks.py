"""Looks lie on the disk: ninety of them with a number for each place are megabytes, which would be taken for the service's."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

from tests.soak.watch import Sample

if TYPE_CHECKING:
    from pathlib import Path


class Looks:
    """Samples in a file, one a line; nothing of them stays in memory."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def add(self, sample: Sample) -> None:
        with self._path.open("a") as file:
            file.write(json.dumps(asdict(sample)) + "\n")

    def all(self) -> list[Sample]:
        """In the order in which they were made; empty before the first."""
        if not self._path.exists():
            return []
        with self._path.open() as file:
            return [Sample(**json.loads(line)) for line in file]
