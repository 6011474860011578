"""Who may do what at the broker: a real mosquitto with the very files that the install script writes."""

from __future__ import annotations

import os
import pwd
import re
import signal
import subprocess
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from tests.conftest import Mosquitto
from tests.system.daemon import PATIENCE_S, configuration, probe, quiet_port, until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
NOT_AUTHORIZED: Final = 135  # MQTT 5 section 2.4
OWN: Final = "home/ash/water"


def run(script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = ["sh", str(DEPLOY / script), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)


def took(reason: int) -> bool:
    """Whether a broker that answers so has taken the message; 128 and above are refusals."""
    return 0 <= reason < 128


class Guarded(Mosquitto):
    """The broker as it is installed, below a folder instead of the machine's root."""

    def __init__(self, root: Path) -> None:
        super().__init__(root / "broker")
        self.root = root
        self.port = quiet_port()
        self._must("install.sh", "--only", "broker", "--root", str(root), "--broker-port", str(self.port))
        # Word for word what was written, but for where its files lie; the rest is what Debian's own file says.
        text = (root / "etc/mosquitto/conf.d/swimup.conf").read_text().replace(" /etc/swimup/", f" {root}/etc/swimup/")
        place = [f"user {pwd.getpwuid(os.geteuid()).pw_name}", f"persistence_location {self.folder}/"]
        self._config.write_text("\n".join([*place, text]))

    def _must(self, script: str, *arguments: str) -> str:
        done = run(script, *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def monitor_password(self) -> str:
        return (self.root / "etc/swimup/broker.password").read_text().strip()

    def add_probe(self, *arguments: str) -> str:
        """Its password, as it is shown."""
        shown = re.search(
            r"^ +password +(\S+)$", self._must("add-probe.sh", "--root", str(self.root), *arguments), re.MULTILINE
        )
        self.heed()
        return shown[1] if shown else ""

    def heed(self) -> None:
        """Have it read passwords and rules again; it says so in its log, where the last line is the newest."""
        if self._process is not None:
            seen = self.log.read_text().count("Reloading config")
            os.kill(self.pid, signal.SIGHUP)
            until(lambda: self.log.read_text().count("Reloading config") > seen)


class Guest:
    """One connection with MQTT 5, so that the broker says why it refuses."""

    def __init__(self, broker: Mosquitto, user: str | None = None, password: str | None = None) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.kept: list[tuple[str, bytes]] = []  # what the broker had from before
        self.refused: int | None = None
        self.gone = threading.Event()
        self._told: dict[int, int] = {}
        self._answered = threading.Event()
        self._subscribed = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        if user is not None:
            self._client.username_pw_set(user, password)
        self._client.on_connect = self._connected
        self._client.on_disconnect = lambda *_: self.gone.set()
        self._client.on_message = self._message
        self._client.on_publish = self._published
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        assert self._answered.wait(PATIENCE_S)

    def _connected(self, _client: Client, _data: object, _flags: object, reason: ReasonCode, _more: object) -> None:
        self.refused = reason.value if reason.is_failure else None
        if reason.is_failure:
            self._client.disconnect()
        self._answered.set()

    def _message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        (self.kept if message.retain else self.heard).append((message.topic, bytes(message.payload)))

    def _published(
        self, _client: Client, _data: object, mid: int, reason: ReasonCode, _more: Properties | PacketTypes | None
    ) -> None:
        self._told[mid] = reason.value

    def publish(self, topic: str, payload: str | bytes = "24.5") -> int:
        """The broker's reason code, or -1 when it hung up instead."""
        sent = self._client.publish(topic, payload, qos=1)
        until(lambda: sent.mid in self._told or self.gone.is_set(), f"no answer for {topic}")
        return self._told.get(sent.mid, -1)

    def listen(self, *topics: str) -> None:
        for topic in topics:
            self._subscribed.clear()
            self._client.subscribe(topic, qos=1)
            assert self._subscribed.wait(PATIENCE_S)

    def leave(self) -> None:
        client = self._client
        client.disconnect()
        client.loop_stop()
        # Without a way back to us it ends as soon as we do, and closes its sockets in order.
        client.on_connect = client.on_disconnect = client.on_message = client.on_publish = client.on_subscribe = None


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guarded]:
    broker = Guarded(tmp_path_factory.mktemp("guarded"))
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture(scope="module")
def ash(guarded: Guarded) -> str:
    """The password of a probe that was given water and air of one vessel."""
    return guarded.add_probe("ash-probe", OWN, "home/ash/air")


@pytest.fixture
def enter(guarded: Guarded) -> Iterator[Callable[[str | None, str | None], Guest]]:
    made: list[Guest] = []

    def come(user: str | None, password: str | None) -> Guest:
        made.append(Guest(guarded, user, password))
        return made[-1]

    yield come
    for guest in made:
        guest.leave()


@pytest.fixture
def monitor(guarded: Guarded, enter: Callable[[str | None, str | None], Guest]) -> Guest:
    """The monitor's own name, hearing all that it may."""
    guest = enter("swimup", guarded.monitor_password())
    guest.listen("#")
    return guest


def test_a_probe_publishes_its_own_topics_only(
    ash: str, monitor: Guest, enter: Callable[[str | None, str | None], Guest]
) -> None:
    """What was given to it arrives; other vessels, its neighbours, deeper and shorter topics and the monitor's own do not."""
    probe_ = enter("ash-probe", ash)
    assert took(probe_.publish(OWN, "first"))
    foreign = [
        "home/birch/water",
        "home/ash",
        "home/ash/water/more",
        "home/ash/heater",
        "swimup/home/do/air-stopped:ash",
    ]
    foreign += ["swimup/home/status", "Home/ash/water", "other"]
    assert {topic: probe_.publish(topic) for topic in foreign} == dict.fromkeys(foreign, NOT_AUTHORIZED)
    assert took(probe_.publish("home/ash/air", "last"))
    until(lambda: len(monitor.heard) >= 2)
    assert monitor.heard == [(OWN, b"first"), ("home/ash/air", b"last")]


def test_a_probe_hears_nothing(ash: str, monitor: Guest, enter: Callable[[str | None, str | None], Guest]) -> None:
    """Whatever it subscribes to, neither the monitor's words nor readings reach it, not even its own."""
    curious = enter("ash-probe", ash)
    curious.listen("#", OWN, "swimup/#", "$SYS/#")
    assert took(monitor.publish("swimup/home/status", "up"))
    assert took(curious.publish(OWN, "own"))
    until(lambda: len(monitor.heard) >= 2)
    assert took(curious.publish(OWN, "later"))  # its answer comes after all that would have been sent before
    assert (curious.heard, curious.kept) == ([], [])


@pytest.mark.parametrize(
    ("user", "password"),
    [(None, None), ("", ""), ("ash-probe", None), ("ash-probe", "wrong"), ("nobody", "wrong"), ("swimup", "swimup")],
)
@pytest.mark.usefixtures("ash")
def test_whoever_is_not_known_is_not_let_in(
    enter: Callable[[str | None, str | None], Guest], user: str | None, password: str | None
) -> None:
    """Without a name, with a wrong password, or with none, the connection is refused."""
    assert enter(user, password).refused == NOT_AUTHORIZED


def test_what_is_too_large_is_refused(
    ash: str, monitor: Guest, enter: Callable[[str | None, str | None], Guest]
) -> None:
    """64 KiB arrive, one byte more does not; nor does a packet far larger, which is cut off on its way."""
    assert took(enter("ash-probe", ash).publish(OWN, b"a" * 65_536))
    assert not took(enter("ash-probe", ash).publish(OWN, b"b" * 65_537))
    assert not took(enter("ash-probe", ash).publish(OWN, b"c" * 1_000_000))
    assert took(enter("ash-probe", ash).publish(OWN, b"d"))
    until(lambda: len(monitor.heard) >= 2)
    assert monitor.heard == [(OWN, b"a" * 65_536), (OWN, b"d")]


def test_the_monitor_writes_below_its_own_name_only(
    guarded: Guarded, enter: Callable[[str | None, str | None], Guest]
) -> None:
    """Its password, stolen, makes no readings: it may not publish as a probe does."""
    guest = enter("swimup", guarded.monitor_password())
    assert took(guest.publish("swimup/home/status"))
    assert guest.publish(OWN) == NOT_AUTHORIZED


def test_the_monitor_lives_with_these_rules(
    guarded: Guarded, ash: str, daemons: Callable[[str], Daemon], enter: Callable[[str | None, str | None], Guest]
) -> None:
    """The real daemon, with the password it was given, shows what the probe says and is refused nothing."""
    secret = guarded.root / "etc/swimup/broker.password"
    text = configuration(guarded.url, probe("ash-water", OWN, measures="water", vessel="ash"))
    daemon = daemons(text.replace("[broker]\n", f'[broker]\nuser = "swimup"\npassword_file = "{secret}"\n'))
    daemon.start()
    until(daemon.connected)
    enter("ash-probe", ash).publish(OWN, "21.25")
    daemon.until_water(21.25)
    assert daemon.terminate() == 0
    assert not [line for line in daemon.log.splitlines() if "level=warning" in line or "level=error" in line]


def test_a_probe_is_given_a_new_password_and_sent_away(
    guarded: Guarded, enter: Callable[[str | None, str | None], Guest]
) -> None:
    """--again makes the old password and topics worthless, --remove the probe; the others notice nothing."""
    old = guarded.add_probe("birch-probe", "home/birch/water")
    assert run("add-probe.sh", "--root", str(guarded.root), "birch-probe", "home/birch/air").returncode == 1
    new = guarded.add_probe("--again", "birch-probe", "home/birch/air")
    assert enter("birch-probe", old).refused == NOT_AUTHORIZED
    guest = enter("birch-probe", new)
    assert guest.publish("home/birch/water") == NOT_AUTHORIZED
    assert took(guest.publish("home/birch/air"))
    guarded.add_probe("--remove", "birch-probe")
    assert enter("birch-probe", new).refused == NOT_AUTHORIZED
    assert "birch" not in (guarded.root / "etc/swimup/broker/rules").read_text()
    assert enter("swimup", guarded.monitor_password()).refused is None


@pytest.mark.parametrize(
    "arguments",
    [
        ["ash-probe\nuser swimup", OWN],
        ["swimup", OWN],
        ["-x", OWN],
        ["Ash", OWN],
        ["a" * 41, OWN],
        ["cedar", "home/cedar/#"],
        ["cedar", "home/+/water"],
        ["cedar", "home/cedar\ntopic readwrite #"],
        ["cedar", "home/cedar water"],
        ["cedar", "$SYS/broker"],
        ["cedar", "swimup/home/do/x"],
        ["cedar", ""],
        ["cedar", OWN, "#"],
        ["cedar"],
    ],
)
def test_what_could_widen_the_rules_is_not_taken(guarded: Guarded, arguments: list[str]) -> None:
    """A name or topic that could end a line, match more than itself or be the monitor's changes no file."""
    rules, passwords = (guarded.root / "etc/swimup/broker" / name for name in ("rules", "passwords"))
    before = rules.read_text(), passwords.read_text()
    assert run("add-probe.sh", "--root", str(guarded.root), *arguments).returncode in (1, 2)
    assert (rules.read_text(), passwords.read_text()) == before


def test_running_it_again_keeps_the_probes(guarded: Guarded) -> None:
    """The files of the broker, probes' lines among them, are the same to the byte, and not written anew."""
    files = [path for path in (guarded.root / "etc").rglob("*") if path.is_file()]
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in files}
    assert len(before) == 4
    done = run("install.sh", "--only", "broker", "--root", str(guarded.root), "--broker-port", str(guarded.port))
    assert (done.returncode, done.stdout) == (0, "")
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in files} == before


def test_a_broker_that_is_set_up_already_is_left_alone(tmp_path: Path) -> None:
    """Rules that somebody else wrote stop it before anything is written, with what to do."""
    theirs = tmp_path / "etc/mosquitto/conf.d/house.conf"
    theirs.parent.mkdir(parents=True)
    theirs.write_text("listener 1883\nallow_anonymous true\n")
    done = run("install.sh", "--only", "broker", "--root", str(tmp_path))
    assert done.returncode == 1
    assert "--no-broker" in done.stderr
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [theirs]
