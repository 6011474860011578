"""Names and words that carry script, on every page: they are shown as they are, and nothing of them runs."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

import pytest

from monitor.core.log import Discard, Seen, Sight, Start
from monitor.core.model import HOUR, MINUTE, Reading
from monitor.store.record import Record
from monitor.store.store import Store
from tests.adapters.web.attacks import EVIL, shown, standing, unharmed
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_batch, measured
from tests.adapters.web.shed_record import shed_bench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.adapters.web.conftest import Served

    Change = Callable[[dict[str, Any]], Any]

NAME: Final = EVIL[:64]
"""A name is never longer."""
AT: Final = quote(NAME, safe="")
TIN: Final = {"cysts_per_g": None}
PHONE: Final = {"id": NAME, "name": EVIL, "gone": None}
LOGGED: Final = {"kind": "discard", "subject": NAME, "text": EVIL}
FIELDS: Final[dict[str, tuple[Change, str]]] = {
    "site": (lambda bench: bench.update(site=EVIL), "/"),
    "topic of a probe": (lambda bench: bench["room"][0].update(probe=EVIL) or bench["room"].append(bench["room"][0]), "/"),
    "payload with a word for air": (lambda bench: bench["vessels"][0].update(air=measured(EVIL, 8, EVIL)), "/"),
    "quality": (lambda bench: bench["vessels"][0]["water"].update(quality=EVIL, fresh=False), "/"),
    "batch": (lambda bench: bench["vessels"][0]["batch"].update(id=NAME), "/"),
    "tin": (lambda bench: bench["vessels"][0]["batch"].update(lot=EVIL, strain=EVIL), "/"),
    "note of a batch": (lambda bench: bench["vessels"][0]["batch"].update(note=EVIL), "/"),
    "title of an alarm": (lambda bench: bench["alarms"][2].update(title=EVIL), "/"),
    "text of an alarm": (lambda bench: bench["alarms"][2].update(text=EVIL, todo=EVIL), "/"),
    "subject of an alarm": (lambda bench: bench["alarms"][2].update(id=f"air-stopped:{NAME}", subject=NAME), "/"),
    "cold store": (lambda bench: bench["stores"][0].update(id=NAME), "/"),
    "why it keeps": (lambda bench: bench["stores"][0]["content"].update(why=EVIL), "/"),
    "tins to choose from": (lambda bench: bench["lots"].append({**TIN, "id": EVIL, "strain": EVIL}), "/vessels/cedar/start"),
    "name of a phone": (lambda bench: bench.update(phones=[{**PHONE, "since": bench["now"]}]), "/phones"),
    "what was logged last": (lambda bench: bench.update(undoable=[{**LOGGED, "at": bench["now"], "until": bench["now"]}]), "/"),
}  # fmt: skip


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One service, whose bench each test makes anew."""
    with standing(tmp_path_factory.mktemp("shed")) as found:
        yield found


@pytest.mark.parametrize("harm", ["<img src=x>", "<script>1</script>", "<p onclick=1>", '<a href=" JavaScript:x">'])
def test_what_would_run_is_found(harm: str) -> None:
    """What looks through the pages below can fail."""
    with pytest.raises(AssertionError):
        shown(harm)


@pytest.mark.parametrize("field", FIELDS)
def test_no_word_from_outside_becomes_part_of_the_page(shed: Served, field: str) -> None:
    """Where script stands in a name, the page shows the name."""
    change, path = FIELDS[field]

    def poison(bench: dict[str, Any]) -> None:
        bench.clear()
        bench.update(shed_bench())
        change(bench)

    shed.desk.publish(poison)
    with shed.client(token=False) as client:
        answer = client.get(path)
        assert answer.status_code == 200
        text = shown(answer.text)
        if field not in ("quality", "payload with a word for air"):  # told in words of our own
            assert "onerror" in text
    unharmed(shed)


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("/vessels/cedar/start", "lot"),
        ("/vessels/cedar/start", "cysts"),
        ("/vessels/cedar/start", "when"),
        ("/batches/ash-2026-03-01/seen", "when"),
        ("/batches/ash-2026-03-01/discard", "reason"),
        ("/batches/ash-2026-03-01/harvest", "nauplii"),
        ("/stores/fridge/chill", "batch"),
        ("/alarms/air-stopped:birch/shelve", "minutes"),
        (f"/alarms/{AT}/acknowledge", "page"),
        (f"/batches/{AT}/seen", "what"),
        (f"/vessels/{AT}/settling", "x"),
    ],
)
def test_what_was_typed_comes_back_as_text(shed: Served, path: str, field: str) -> None:
    """A form that is shown again, or a refusal that names what was found, repeats it harmlessly."""
    shed.desk.publish(lambda bench: bench.update(shed_bench()))
    with shed.client(token=False, follow_redirects=True) as client:
        token = client.get("/").text.split('name="csrf" content="')[1].split('"')[0]
        given = {"csrf": token, "page": "batch", "what": "none", "when": "never", field: EVIL}
        shown(client.post(path, data=given).text)
        for query in (f"/count?drops={AT}&tin={AT}", f"/trends?probe={AT}&batch={AT}&since={AT}", f"/report?days={AT}"):
            shown(client.get(query).text)
        for there in (f"/batches/{AT}", f"/alarms/{AT}", f"/vessels/{AT}/start", f"/stores/{AT}", f"/{AT}"):
            shown(client.get(there).text)
    shed.desk.done.clear()


@pytest.fixture
def poisoned(serve: Callable[..., Served], tmp_path: Path) -> Served:
    """Script in every name of the bench, and in what was logged."""
    path = tmp_path / "shed.sqlite3"
    with Store.open(path, now=NOW - 3 * HOUR) as store:
        begun = NOW - 2 * HOUR
        store.log(Start(begun, begun, NAME, "ash", NAME, 2.0, 1.5, 25.0))
        store.log(Seen(begun + HOUR, begun + HOUR, NAME, Sight.FIRST))
        store.log(Discard(NOW - MINUTE, NOW - MINUTE, NAME, EVIL))
        for minute in range(60):
            store.add(Reading(NAME, NOW - minute * MINUTE, 25_000, own_time=True, arrived=NOW))
        store.commit()
    bench = shed_bench()
    for field, (change, _) in FIELDS.items():
        if field not in ("site", "payload with a word for air", "quality"):
            change(bench)
    bench["vessels"][1]["batch"] = a_batch("birch", id=NAME, lot=NAME, strain=EVIL, note=EVIL)
    for probe in bench["probes"]:
        if probe["id"] == "ash-water":
            probe["id"] = NAME
    desk = MemoryDesk(bench)
    desk.record = Record(path)
    return serve(desk)


@pytest.mark.browser
def test_a_browser_runs_nothing_of_it_on_any_page(poisoned: Served, open_page: Callable[..., Page]) -> None:
    """In a real browser, with the news that come later too: no dialog, no request elsewhere, nothing set."""
    page = open_page(poisoned)
    names = (f"batches/{AT}", f"trends?batch={AT}", f"alarms/air-stopped:{AT}", f"stores/{AT}", AT)
    for path in ("", "batches", "trends", "vessels/cedar/start", "phones", "count", "report", *names):
        told = page.goto(f"{poisoned.url}/{path}")
        assert told is not None
        assert told.status < 500, path
        assert page.evaluate("[typeof window.hurt, document.querySelectorAll('img, script:not([src])').length]") == [
            "undefined",
            0,
        ], path
    page.goto(poisoned.url)
    poisoned.desk.publish(lambda bench: bench["vessels"][0]["batch"].update(note=f"later {EVIL}"))
    page.get_by_text("later \"'>").first.wait_for()
    assert page.evaluate("typeof window.hurt") == "undefined"


@contextmanager
def another_site(html: str) -> Iterator[str]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(html.encode())

        def log_message(self, *_arguments: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


@pytest.mark.browser
def test_another_site_in_the_same_browser_can_neither_press_read_nor_frame(served: Served, chromium: Browser) -> None:
    """A page on another port, to which the browser gives the cookies along, is refused each of them."""
    action = f"{served.url}/vessels/birch/settling"
    html = f"""<form method=post action="{action}"><input name=csrf value=x></form>
    <iframe src="{served.url}/"></iframe>
    <script>
      const ask = (path, more) => fetch("{served.url}/api/v1/" + path, {{...more, credentials: "include"}});
      window.read = Promise.allSettled([ask("bench"), ask("undo", {{method: "POST", body: "{{}}"}})]);
    </script>"""
    context = chromium.new_context()
    page = context.new_page()
    page.goto(served.url)  # so that there is a session
    with another_site(html) as address:
        page.goto(address)
        assert [one["status"] for one in page.evaluate("window.read")] == ["rejected", "rejected"]
        framed = [frame for frame in page.frames if frame is not page.main_frame]
        assert all("Air stopped" not in frame.content() for frame in framed)
        page.evaluate("document.forms[0].submit()")
        page.wait_for_url(action)
        assert "Another site sent this." in page.content()
    context.close()
    unharmed(served)
