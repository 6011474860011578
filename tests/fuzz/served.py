"""The real process with something on its bench, for requests of every kind. No broker is there; nothing leaves the machine."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

import httpx

from monitor.web.access import write_password
from tests.system.daemon import air, configuration, probe, quiet_port, table, water
from tests.system.quick import QuickDaemon

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

BASE: Final = "/api/v1"
SILENCE_S: Final = 30.0
"""So long an answer may take by the clock on a busy machine; longer is a hang."""

BEGUN: Final[tuple[tuple[str, dict[str, Any]], ...]] = (
    ("/tins/tin-8", {"strain": "san-francisco-bay", "grams": 50, "price": 12.5}),
    ("/batches", {"vessel": "ash", "cysts_g": 1.5, "lot": "tin-7", "batch": "ash-1"}),
    ("/batches", {"vessel": "birch", "cysts_g": 2, "lot": "tin-8", "batch": "birch-1"}),
    ("/broods", {"brood": "killi-1", "fish": "killifish", "larvae": 40}),
    ("/eaters", {"eater": "adults", "nauplii_per_day": 20_000}),
    ("/stores/fridge/chill", {"nauplii": 100_000, "litres": 0.5}),
)
IDS: Final[Mapping[str, Sequence[str]]] = {
    "vessel": ("ash", "birch", "cedar"),
    "batch": ("ash-1", "birch-1"),
    "lot": ("tin-7", "tin-8"),
    "tin": ("tin-7", "tin-8"),
    "brood": ("killi-1",),
    "eater": ("adults",),
    "store": ("fridge",),
    "probe": ("ash-water", "ash-air", "shed-room"),
    "alarm": ("broker-lost:shed", "air-unknown:ash", "probe-silent:ash-water"),
}
"""What is there, by the name under which paths and bodies ask for it."""


class Shed:
    """A daemon with a password, three vessels, tins, a brood and a fridge. Use as a context."""

    def __init__(self) -> None:
        self._end = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as opening:
            folder = Path(opening.enter_context(tempfile.TemporaryDirectory(prefix="fuzz-")))
            write_password(folder / "password", "wet sand 42")
            text = configuration(
                f"mqtt://127.0.0.1:{quiet_port()}",
                water("ash"),
                air("ash"),
                probe("shed-room", "shed/room", measures="room"),
                table("cold_store", id="fridge"),
                vessels=IDS["vessel"],
            )
            port = f"port = {quiet_port()}"
            head, _, rest = text.partition("[web]\n")
            text = f'{head}[web]\npassword_file = "password"\n{port}\n{rest.partition(chr(10))[2]}'
            self.daemon = QuickDaemon(folder / "daemon", text)
            (folder / "password").rename(folder / "daemon" / "password")
            opening.callback(self.daemon.tear_down)
            self.daemon.start(ready=False)
            self.url = self.daemon.url
            self._wait()
            self.token = self.daemon.store.with_name("cli.token").read_text().strip()
            with self.client() as client:
                for path, body in BEGUN:
                    answer = client.post(f"{BASE}{path}", json=body)
                    assert answer.status_code < 300, f"{path}: {answer.text}"
            self._end = opening.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.close()

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}

    def client(self, *, token: bool = True) -> httpx.Client:
        headers = self.headers if token else {}
        return httpx.Client(base_url=self.url, headers=headers, trust_env=False, timeout=SILENCE_S)

    def alive(self) -> str:
        """What is wrong with the process; empty when it runs, is well, and has logged no failure."""
        wrong = [line for line in self.daemon.log.splitlines() if "Traceback" in line or " level=error " in f" {line} "]
        with self.client(token=False) as client:
            answer = client.get(f"{BASE}/health")
        if answer.status_code != 200:
            return f"health says {answer.status_code}"
        return wrong[0] if wrong else ""

    def _wait(self) -> None:
        from tests.system.daemon import until

        def answers() -> bool:
            try:
                with self.client(token=False) as client:
                    return client.get(f"{BASE}/health").status_code == 200
            except httpx.TransportError:
                return False

        until(answers, f"the daemon does not answer:\n{self.daemon.log}")
