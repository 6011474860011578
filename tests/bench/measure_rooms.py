"""What a room's summary costs to make, send and read, and the page of as many rooms as are shown; prints a table for people.

    python -m tests.bench.measure_rooms

Processor time on this machine; nothing here is asserted.
"""

from __future__ import annotations

import gzip
import sys
import time
from contextlib import redirect_stdout
from typing import TYPE_CHECKING, Any

import httpx

from monitor.core.model import MINUTE
from monitor.core.rooms import MOST_ROOMS, Rooms
from monitor.core.summary import summary
from monitor.intake.room_news import read_summary, write_summary
from monitor.web.app import make_app
from monitor.web.options import WebOptions
from monitor.web.rooms_view import make_rooms
from monitor.web.server import WebServer
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_batch, bad_night
from tests.bench.markdown import noted

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.bench.markdown import Note

VESSELS = 16
TIMES = 200


def a_room(site: str) -> dict[str, Any]:
    """Full: a batch in every vessel."""
    bench = bad_night() | {"site": site}
    vessel = bench["vessels"][0]
    bench["vessels"] = [{**vessel, "id": f"v{n}", "batch": a_batch(f"v{n}")} for n in range(VESSELS)]
    return bench


def written(bench: dict[str, Any]) -> bytes:
    return write_summary(summary(bench), "0123abcd", NOW, MINUTE, "https://shed.home.arpa:8417").encode()


def cost_ms(what: Callable[[], object]) -> float:
    """Processor time of one, ms."""
    began = time.process_time()
    for _ in range(TIMES):
        what()
    return (time.process_time() - began) / TIMES * 1000


def page_of(desk: MemoryDesk, folder: Path) -> bytes:
    """As it is before packing."""
    options = WebOptions(folder, rooms=True)
    server = WebServer(lambda: make_app(desk, options), options.host, 0)
    server.start()
    try:
        return httpx.get(f"{server.url}/rooms", trust_env=False, timeout=20).content
    finally:
        server.stop(10)


def measure(folder: Path, note: Note) -> None:
    bench = a_room("shed")
    payload = written(bench)
    desk, rooms = MemoryDesk(bench), Rooms("shed", "aaaaaaaa", NOW - MINUTE)
    desk.neighbours = rooms
    for n in range(MOST_ROOMS):
        site = f"room-{n}"
        rooms.news(read_summary(site, written(a_room(site))), NOW, live=True)
    with redirect_stdout(sys.stderr):  # its log is no part of the table
        page = page_of(desk, folder)
    note(f"a summary of {VESSELS} vessels", f"{len(payload)} bytes")
    note("making it", f"{cost_ms(lambda: written(bench)):.2f} ms")
    note("reading it", f"{cost_ms(lambda: read_summary('shed', payload)):.2f} ms")
    note(f"the words of {MOST_ROOMS + 1} rooms", f"{cost_ms(lambda: make_rooms(desk.rooms())):.1f} ms")
    note("their page", f"{len(page)} bytes, {len(gzip.compress(page, 5))} packed")


if __name__ == "__main__":
    noted(measure)
