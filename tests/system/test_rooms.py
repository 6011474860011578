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
from tests.system.daemon import OPENER, Daemon, configuration, probe, quiet_port, retained, until
from tests.system.quick import QuickDaemon

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


class Brokers:
    """The cellar's, and the shed's with its bridge to it."""

    def __init__(self, folder: Path, make: BrokerFactory) -> None:
        self._folder, self._make = folder, make
        self.cellar = self._cellar()
        self.shed = self._shed()

    def _cellar(self) -> Mosquitto:
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
        return self._make(here(block("/etc/mosquitto/conf.d/rooms.conf"), places), anonymous=False)

    def _shed(self) -> Mosquitto:
        places = {
            "house.home.arpa:8883": f"127.0.0.1:{self._bridged}",
            "/etc/mosquitto/certs/house-ca.pem": self._ca,
            "write-the-password-here": PASSWORD,
        }
        return self._make(here(block("/etc/mosquitto/conf.d/house.conf"), places))

    def lies(self, topic: str, payload: str) -> None:
        """Somebody has stolen the bridge's password."""
        self.cellar.publish(topic, payload, retain=True, options=["-u", "shed-bridge", "-P", PASSWORD])

    def kept(self, topic: str) -> dict[str, Any]:
        """What the cellar's broker keeps, as the cellar's monitor reads it; empty when there is nothing."""
        command = ["mosquitto_sub", "-h", self.cellar.host, "-p", str(self.cellar.port), "-u", "swimup", "-P", PASSWORD]
        command += ["-t", topic, "-C", "1", "-W", "1", "--retained-only"]
        done = subprocess.run(command, capture_output=True, check=False, timeout=20)
        document: dict[str, Any] = json.loads(done.stdout or "{}")
        return document


class House:
    """The brokers, monitors of three rooms, and one time-series server."""

    def __init__(self, folder: Path, brokers: Brokers) -> None:
        self._folder = folder
        self.brokers = brokers
        self.series = SeriesStore(folder / "series")
        self.rooms = {
            "shed": self._room("shed", brokers.shed, None),
            "attic": self._room("attic", brokers.shed, None),
            "cellar": self._room("cellar", brokers.cellar, "swimup", block("swimup.toml in the cellar")),
        }

    def start(self) -> None:
        self.series.start()
        for room in self.rooms.values():
            room.start(ready=False)
        for site, room in self.rooms.items():
            until(partial(_up, room), f"{site} does not come up")

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
        return QuickDaemon(folder, text)

    def reads(self, site: str, probe_id: str, *values: str) -> None:
        broker = self.brokers.cellar if site == "cellar" else self.brokers.shed
        known = ["-u", "cellar-probes", "-P", PASSWORD] if site == "cellar" else []
        broker.publish(f"{site}/{probe_id}", *values, options=known)

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
def bridged(tmp_path: Path, brokers: BrokerFactory) -> Brokers:
    return Brokers(tmp_path, brokers)


@pytest.fixture
def house(tmp_path: Path, bridged: Brokers) -> Iterator[House]:
    made = House(tmp_path, bridged)
    try:
        made.start()
        yield made
    finally:
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
    house.brokers.lies("swimup/cellar/status", '{"state":"stopped"}')
    house.rooms["attic"].kill()
    until(lambda: "Not heard since" in house.card("attic"), "nobody misses the attic")
    assert "Not heard" not in house.card("shed")
    assert until(lambda: house.brokers.kept("swimup/cellar/status"))["state"] == "up"
    assert until(lambda: house.brokers.kept("swimup/shed/summary"))["site"] == "shed"

    def apart() -> dict[str, list[float]]:
        found: dict[str, list[float]] = {}
        for labels, _, value in house.series.points('{__name__="reading_value",measures="water"}'):
            found.setdefault(labels["site"], []).append(value)
        return {site: sorted(values) for site, values in found.items()}

    wanted = {site: [float(value) for value in values] for site, values in read.items()}
    until(lambda: apart() == wanted, f"the server has {apart()}")
    newest = house.asked(water_now)
    assert newest >= {(site, values[-1]) for site, values in wanted.items()}


def test_after_a_cut_the_newest_comes_and_only_what_is_meant_to_crosses(bridged: Brokers) -> None:
    """What was published while the link was down is not queued: how the room stands now is there when it is back. Readings and
    what is for the shed alone stay in the shed, and nothing comes back from the cellar."""
    cellar, shed = bridged.cellar, bridged.shed
    shed.publish("swimup/shed/summary", '{"n": 1}', retain=True)
    until(lambda: bridged.kept("swimup/shed/summary") == {"n": 1}, "nothing crosses")
    cellar.stop()
    shed.publish("swimup/shed/summary", '{"n": 2}', '{"n": 3}', retain=True)
    shed.publish("swimup/shed/alarm/x", '{"n": 1}', retain=True)
    shed.publish("shed/water", "24.1", retain=True)
    cellar.start()
    until(lambda: bridged.kept("swimup/shed/summary") == {"n": 3}, "the newest does not come")
    assert bridged.kept("swimup/shed/alarm/x") == bridged.kept("shed/water") == {}
    assert retained(shed, "swimup/cellar/status") == {}
