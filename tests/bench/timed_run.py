"""``swimup run``, with a note of when each message was decided; written to a file when it ends.

python -m tests.bench.timed_run FILE run --config CONFIG
"""

from __future__ import annotations

import atexit
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.cli import main as swimup
from monitor.service.ingest import Ingest

if TYPE_CHECKING:
    from monitor.core.model import Effect
    from monitor.intake.incoming import Incoming


def main() -> None:
    file = Path(sys.argv[1])
    came: list[tuple[bytes, int]] = []
    take = Ingest.take

    def timed(self: Ingest, message: Incoming) -> list[Effect]:
        effects = take(self, message)
        came.append((message.payload, time.monotonic_ns()))
        return effects

    Ingest.take = timed  # type: ignore[method-assign]
    atexit.register(lambda: file.write_text(json.dumps([(payload.decode(), at) for payload, at in came])))
    sys.argv = ["swimup", *sys.argv[2:]]
    swimup()


if __name__ == "__main__":
    main()
