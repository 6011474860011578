"""Pages and answers are made from the newest view, however rarely views are made."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from tests.adapters.web.memory_desk import MemoryDesk

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.web.conftest import Served


class Rare(MemoryDesk):
    """Publishes nothing by itself; what is new is shown when somebody looks."""

    def __init__(self) -> None:
        super().__init__()
        self.looked = 0

    async def look(self) -> None:
        self.looked += 1
        with self._lock:
            self._bench["site"] = f"shed-{self.looked}"
            self._version += 1


def test_page_and_answers_tell_what_was_new_when_they_were_asked_for(serve: Callable[..., Served]) -> None:
    """Each of the page, the API and the figures rests on a view of just now, with nobody following the views."""
    served = serve(Rare())
    with served.client() as client:
        assert "shed-1" in client.get("/").text
        assert client.get("/api/v1/bench").json()["site"] == "shed-2"
        assert 'site="shed-3"' in client.get("/metrics").text


def test_files_need_no_new_view(serve: Callable[..., Served]) -> None:
    """Style and script are the same at any time: fetching them asks nothing of the thread of decisions."""
    desk = Rare()
    with serve(desk).client() as client:
        style = re.search(r'href="(/static/[^"]+)"', client.get("/").text)
        assert style is not None
        assert client.get(style[1]).status_code == 200
    assert desk.looked == 1
