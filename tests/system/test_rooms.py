"""Three rooms as deploy/rooms.md sets them up: every block of it is used here, with this machine's ports and paths."""

from __future__ import annotations

import json
import re
import subprocess
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.error import URLError

import pytest

from tests.adapters.intake.certificates import Authority
from tests.series_store import SeriesStore
from tests.system.daemon import OPENER, Daemon, configuration, probe, quiet_port, until

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from tests.conftest import BrokerFactory, Mosquitto

pytestmark = [pytest.mark.system, pytest.mark.broker]

DOC = (Path(__file__).parents[2] / "deploy/rooms.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```", DOC, re.DOTALL | re.MULTILINE)
PASSWORD = "a-bridge-is-no-ferry"


def block(first: str) -> str:
    """The block of the document whose first line begins so."""
    found: list[str] = [text for _, text in BLOCKS if text.startswith(f"# {first}")]
    assert len(found) == 1, f"deploy/rooms.md has {len(found)} blocks that begin with {first}"
    return found[0]


def here(text: str, places: Mapping[str, str]) -> list[str]:
    """The lines of a block with the names of the document replaced; each must stand in it."""
    for name, place in places.items():
        assert name in text, f"deploy/rooms.md no longer says {name}"
        text = text.replace(name, place)
    return text.splitlines()


def _up(room: Daemon) -> bool:
    try:
        return room.connected()
    except (URLError, OSError):
        return False


class House:
    """The cellar's broker and the shed's, which is bridged to it; monitors of three rooms; one time-series server."""

    def __init__(self, folder: Path, brokers: BrokerFactory) -> None:
        self._folder = folder
        self.series = SeriesStore(folder / "series")
        self.series.start()
        self.cellar_broker = self._cellar_broker(brokers)
        self.shed_broker = self._shed_broker(brokers)
        self.rooms = {
            "shed": self._room("shed", self.shed_broker, None),
            "attic": self._room("attic", self.shed_broker, None),
            "cellar": self._room("cellar", self.cellar_broker, "swimup", block("swimup.toml in the cellar")),
        }
        for room in self.rooms.values():
            room.start(ready=False)
        for site, room in self.rooms.items():
            until(partial(_up, room), f"{site} does not come up")

    def _cellar_broker(self, brokers: BrokerFactory) -> Mosquitto:
        authority = Authority(self._folder / "papers", "the house")
        papers = authority.papers("house")
        self._ca, self._bridged = str(authority.ca_file), str(quiet_port())
        passwords, acl = self._folder / "passwords", self._folder / "acl"
        passwords.touch(mode=0o600)
        for user in ("swimup", "cellar-probes", "shed-bridge"):
            subprocess.run(["mosquitto_passwd", "-b", str(passwords), user, PASSWORD], check=True, timeout=20)
        acl.write_text(block("/etc/mosquitto/acl"))
        acl.chmod(0o600)
        places = {
            "listener 8883": f"listener {self._bridged} 127.0.0.1",
            "/etc/mosquitto/certs/house.pem": str(papers.cert),
            "/etc/mosquitto/certs/house.key": str(papers.key),
            "/etc/mosquitto/passwords": str(passwords),
            "/etc/mosquitto/acl": str(acl),
        }
        return brokers(here(block("/etc/mosquitto/conf.d/rooms.conf"), places), anonymous=False)

    def _shed_broker(self, brokers: BrokerFactory) -> Mosquitto:
        places = {
            "house.home.arpa:8883": f"127.0.0.1:{self._bridged}",
            "/etc/mosquitto/certs/house-ca.pem": self._ca,
            "write-the-password-here": PASSWORD,
        }
        return brokers(here(block("/etc/mosquitto/conf.d/house.conf"), places))

    def _room(self, site: str, broker: Mosquitto, user: str | None, *parts: str) -> Daemon:
        """All three name vessel and probe alike: only the site tells them apart."""
        folder = self._folder / site
        folder.mkdir()
        (folder / "series.token").write_text("a-token\n")
        (folder / "broker.password").write_text(f"{PASSWORD}\n")
        copied = block("swimup.toml in every room").replace("https://house.home.arpa:8427", self.series.url)
        text = configuration(
            broker.url,
            probe("water", f"{site}/water", measures="water", vessel="ash"),
            probe("air", f"{site}/air", measures="air", vessel="ash"),
            *parts,
            copied + 'every = "1 s"\n',
            alarms='air_on_delay = "0 s"',
        ).replace('id = "shed"', f'id = "{site}"')
        if user is not None:
            text = text.replace("[broker]\n", f'[broker]\nuser = "{user}"\npassword_file = "broker.password"\n')
        return Daemon(folder, text)

    def reads(self, site: str, probe_id: str, *values: str) -> None:
        broker = self.cellar_broker if site == "cellar" else self.shed_broker
        known = ["-u", "cellar-probes", "-P", PASSWORD] if site == "cellar" else []
        broker.publish(f"{site}/{probe_id}", *values, options=known)

    def lies(self, topic: str, payload: str) -> None:
        """Somebody has stolen the bridge's password."""
        self.cellar_broker.publish(topic, payload, retain=True, options=["-u", "shed-bridge", "-P", PASSWORD])

    def kept(self, topic: str) -> dict[str, Any]:
        """What the cellar's broker keeps, as the cellar's monitor reads it."""
        broker = self.cellar_broker
        command = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-u", "swimup", "-P", PASSWORD]
        done = subprocess.run(
            [*command, "-t", topic, "-C", "1", "-W", "5"], capture_output=True, check=True, timeout=20
        )
        document: dict[str, Any] = json.loads(done.stdout)
        return document

    def page(self) -> str:
        """What the cellar's monitor shows of all rooms."""
        with OPENER.open(f"{self.rooms['cellar'].url}/rooms", timeout=10) as answer:
            text: str = answer.read().decode()
            return text

    def card(self, site: str) -> str:
        found = re.search(
            rf'<li class="room[^>]*aria-labelledby="room-{site}">.*?(?=<li class="room|</ul>\n</div>)',
            self.page(),
            re.DOTALL,
        )
        assert found is not None, f"{site} has no card"
        return found[0]

    def asked(self, query: str) -> set[tuple[str, float]]:
        """The series that a query gives now: site and value."""
        return {(row["metric"]["site"], float(row["value"][1])) for row in self.series.query(query, time.time())}

    def tear_down(self) -> None:
        for room in self.rooms.values():
            room.tear_down()
        self.series.kill()


@pytest.fixture
def house(tmp_path: Path, brokers: BrokerFactory) -> Iterator[House]:
    made = House(tmp_path, brokers)
    yield made
    made.tear_down()


def test_every_block_is_used() -> None:
    """Nothing stands in deploy/rooms.md that nobody has run."""
    assert [kind for kind, _ in BLOCKS] == ["conf", "conf", "conf", "toml", "toml", "promql", "promql"]


def test_three_rooms_are_seen_from_one_and_kept_apart_at_one_server(house: House) -> None:
    """A reading in the shed and an alarm in the attic show in the cellar over the bridge; a killed monitor is not heard; the
    time-series server has every reading once, under its own room."""
    read = {"shed": ["24.1", "24.3"], "attic": ["21.0", "21.2", "21.4"], "cellar": ["26.5"]}
    for site, values in read.items():
        house.rooms[site].told("batch", "start", "ash", "--cysts", "2 g")
        house.reads(site, "water", *values)
    until(lambda: "24.3 °C" in house.card("shed"), "the shed's reading does not come")
    house.rooms["attic"].told("batch", "seen", "ash", "most")
    house.reads("attic", "air", "running", "off")
    until(lambda: "Air stopped" in house.card("attic"), "the attic's alarm does not come")
    water_now, what_is_wrong = (text for kind, text in BLOCKS if kind == "promql")
    until(lambda: house.asked(what_is_wrong) == {("attic", 1.0)}, "the attic's alarm is not counted at the server")
    house.lies("swimup/cellar/status", '{"state":"stopped"}')
    house.rooms["attic"].kill()
    until(lambda: "Not heard since" in house.card("attic"), "nobody misses the attic")
    assert "Not heard" not in house.card("shed")
    assert house.kept("swimup/cellar/status")["state"] == "up"
    assert house.kept("swimup/shed/summary")["site"] == "shed"

    def apart() -> dict[str, list[float]]:
        found: dict[str, list[float]] = {}
        for labels, _, value in house.series.points('{__name__="reading_value",measures="water"}'):
            found.setdefault(labels["site"], []).append(value)
        return {site: sorted(values) for site, values in found.items()}

    wanted = {site: [float(value) for value in values] for site, values in read.items()}
    until(lambda: apart() == wanted, f"the server has {apart()}")
    newest = house.asked(water_now)
    assert newest >= {(site, values[-1]) for site, values in wanted.items()}
