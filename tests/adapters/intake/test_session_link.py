"""The link to a real broker: it comes back whatever happens, and each change is told once."""

from __future__ import annotations

import base64
import hashlib
import json
import socket
import threading
import time
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from iotcore import Broker

from monitor.intake import connection
from monitor.intake.session import Link
from tests.adapters.conftest import until
from tests.conftest import free_port
from tests.system.wire import Wire

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.adapters.conftest import Hearing
    from tests.adapters.intake.certificates import Authority
    from tests.adapters.intake.conftest import LoneSession
    from tests.conftest import BrokerFactory, Mosquitto

    Hear = Callable[..., Hearing]
    LinkTo = Callable[..., Link]

pytestmark = pytest.mark.broker

TOPIC = "shed/ash/water"
STATUS = "swimup/shed/status"


def states(witness: Hearing) -> list[Any]:
    return [json.loads(message.payload)["state"] for message in witness.messages if message.topic == STATUS]


def retained(hear: Hear, link: Link, topic: str) -> Any:
    """What the broker keeps of a topic; each time under a client id of its own, as a known one gets what it missed."""
    reader = hear(link, [topic])
    reader.wait_payloads(1)
    assert reader.messages[0].retain
    return json.loads(reader.payloads[0])


def test_a_broker_absent_at_the_start_is_told_once(brokers: BrokerFactory, hear: Hear, link_to: LinkTo) -> None:
    """Without a broker the start returns, the absence is told once, and the link comes up when the broker does."""
    broker = brokers(start=False)
    hearing = hear(link_to(broker), [TOPIC])
    until(lambda: hearing.session.state.connections >= 4)
    assert hearing.ups == [False]
    assert str(broker.port) in hearing.links[0][1]
    broker.start()
    hearing.wait_up()
    broker.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    assert hearing.ups == [False, True]
    assert hearing.problems == []


def test_a_session_can_be_stopped_while_the_broker_is_absent(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo
) -> None:
    """A stop ends the wait for the next attempt at once, even when that is an hour away."""
    hearing = hear(link_to(brokers(start=False)), [TOPIC], first_delay_s=3600.0, longest_delay_s=3600.0)
    until(lambda: hearing.ups == [False])
    hearing.session.stop()
    assert not hearing.session.alive
    assert hearing.ups == [False]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_session_whose_thread_has_died_goes_on_when_it_is_started_again(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo
) -> None:
    """What was not acknowledged comes again, what was published meanwhile is kept by the broker, and nothing else changes."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    hearing.session.publish("swimup/shed/alarm/x", '{"state": "normal"}')
    hearing.fail_with = SystemExit()  # ends a thread, as no error of a callback does
    mosquitto.publish(TOPIC, "21.4")
    until(lambda: not hearing.session.alive)
    assert not hearing.session.state.up
    hearing.session.publish("swimup/shed/alarm/x", '{"state": "unacknowledged"}')
    hearing.fail_with = None
    hearing.session.start()
    hearing.wait_payloads(1)
    assert hearing.payloads == ["21.4"]
    assert hearing.messages[0].dup
    assert hearing.session.state.connections == 2
    witness = hear(link_to(mosquitto, "witness"), ["swimup/shed/alarm/x"])
    until(lambda: witness.payloads[-1:] == ['{"state": "unacknowledged"}'])  # the older one first, when it came sooner
    assert retained(hear, link_to(mosquitto, "reader"), "swimup/shed/alarm/x") == {"state": "unacknowledged"}
    with pytest.raises(RuntimeError, match="started once"):
        hearing.session.start()


@pytest.mark.parametrize("end", ["stop", "kill"])
def test_a_restart_of_the_broker_is_boring(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, end: str) -> None:
    """However the broker ends, the link goes down once, comes up once, and readings go on."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    getattr(mosquitto, end)()
    until(lambda: hearing.ups == [True, False])
    attempts = hearing.session.state.connections
    until(lambda: hearing.session.state.connections >= attempts + 3)
    mosquitto.start()
    hearing.wait_up(2)
    mosquitto.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    assert hearing.ups == [True, False, True]
    assert hearing.messages[0].session == 1


def test_a_broker_that_forgot_everything_is_told_anew(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """When the broker's store was emptied, topics are subscribed again, retained values come back, and the session
    number grows.
    """
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    hearing.session.publish("swimup/shed/vessel/ash/eta", '{"ready":null}')
    mosquitto.stop()
    mosquitto.empty()
    mosquitto.start()
    hearing.wait_up(2)
    mosquitto.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    assert (hearing.messages[0].session, hearing.messages[0].queued) == (2, False)
    assert retained(hear, link_to(mosquitto, "witness"), "swimup/shed/vessel/ash/eta") == {"ready": None}


def test_what_is_published_while_the_link_is_down(brokers: BrokerFactory, hear: Hear, link_to: LinkTo) -> None:
    """Of retained topics the newest value reaches the broker later; what is not retained is dropped."""
    broker = brokers(start=False)
    speaker = hear(link_to(broker), [TOPIC], start=False)
    speaker.session.publish("swimup/shed/a", "old")
    speaker.session.publish("swimup/shed/a", "new")
    speaker.session.publish("swimup/shed/b", "dropped", retain=False)
    broker.start()
    witness = hear(link_to(broker, "witness"), ["swimup/shed/a", "swimup/shed/b"])
    witness.wait_up()
    speaker.session.start()
    speaker.wait_up()
    speaker.session.publish("swimup/shed/b", b"live", retain=False)
    witness.wait_payloads(2)
    assert sorted(witness.payloads) == ["live", "new"]


def test_what_a_slow_broker_has_not_taken_does_not_pile_up(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a retained topic only the newest waits, however often it was published; all else comes, in order, before a farewell."""
    monkeypatch.setattr(connection, "MOST_UNSETTLED", 5)
    kept, once = "swimup/shed/a", "swimup/shed/b"
    witness = hear(link_to(mosquitto, "witness"), [kept, once])
    witness.wait_up()
    with closing(Wire(mosquitto)) as wire:
        speaker = hear(replace(link_to(mosquitto), port=wire.port), [TOPIC])
        speaker.wait_up()
        wire.hold()
        for number in range(500):
            speaker.session.publish(kept, str(number))
            time.sleep(0.001)  # so that the session may take each by itself
            if number % 50 == 0:
                speaker.session.publish(once, f"once {number}", retain=False)
        wire.release()
        speaker.session.stop()
    witness.wait_payloads(11)
    until(lambda: "499" in witness.payloads)
    assert [told for told in witness.payloads if told.startswith("once")] == [f"once {n}" for n in range(0, 500, 50)]
    assert [told for told in witness.payloads if told.isdigit()][-1] == "499"
    assert len(witness.payloads) < 40


def test_the_status_says_up_and_stopped(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """The status is up with its instant while the link stands, and stopped, retained, after an orderly end."""
    witness = hear(link_to(mosquitto, "witness"), [STATUS])
    witness.wait_up()
    witness.wait_payloads(1)
    speaker = hear(link_to(mosquitto), [TOPIC], clock=lambda: 1_772_428_200_123)
    speaker.wait_up()
    witness.wait_payloads(2)
    assert json.loads(witness.payloads[1]) == {"state": "up", "since": "2026-03-02T05:10:00.123Z"}
    speaker.session.stop()
    witness.wait_payloads(3)
    assert states(witness)[2:] == ["stopped"]
    assert retained(hear, link_to(mosquitto, "late"), STATUS) == {"state": "stopped"}


def test_the_will_says_lost(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, lone_session: Callable[..., LoneSession]
) -> None:
    """When the process is killed, the broker publishes the status as lost in its place, and keeps it."""
    doomed = lone_session(mosquitto, "swimup-shed", TOPIC)
    doomed.wait_for("up")
    witness = hear(link_to(mosquitto, "witness"), [STATUS])
    until(lambda: states(witness).count("up") == 2)  # its own too, which must not come after "lost"
    doomed.kill()
    until(lambda: states(witness)[-1:] == ["lost"])


@pytest.fixture
def old_broker() -> Iterator[Link]:
    """A broker that speaks MQTT 3.1.1 only."""
    port = free_port()
    with Broker(port=port, listen="127.0.0.1"):
        yield Link("127.0.0.1", port, "swimup-shed")


def test_an_old_broker_is_spoken_to_in_its_version(old_broker: Link, hear: Hear) -> None:
    """A broker that knows only MQTT 3.1.1 is connected with that, without any word of a fault."""
    hearing = hear(old_broker, [TOPIC])
    hearing.wait_up()
    hearing.session.publish(TOPIC, "21.4", retain=False)
    hearing.wait_payloads(1)
    assert hearing.session.state.version == "3.1.1"
    assert hearing.ups == [True]
    assert hearing.problems == []


def test_a_fixed_version_is_not_left(old_broker: Link, hear: Hear) -> None:
    """Configured for MQTT 5 alone, the link stays down at a broker that does not know it, and the reason says so."""
    hearing = hear(Link(old_broker.host, old_broker.port, old_broker.client_id, version="5"), [TOPIC])
    until(lambda: hearing.session.state.connections >= 3)
    assert hearing.ups == [False]
    assert "MQTT 5" in hearing.links[0][1]


def test_the_version_of_old_is_spoken_when_configured(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Configured for 3.1.1, redelivery after a broken connection works as it does with MQTT 5."""
    first = hear(link_to(mosquitto, version="3.1.1"), [TOPIC], ack_at_once=False)
    first.wait_up()
    mosquitto.publish(TOPIC, "21.4", "21.5")
    first.wait_payloads(2)
    first.session.ack(first.messages[0])
    first.session.stop()
    second = hear(link_to(mosquitto, version="3.1.1"), [TOPIC])
    second.wait_payloads(1)
    assert [(message.payload, message.dup, message.queued) for message in second.messages] == [(b"21.5", True, True)]
    assert second.session.state.version == "3.1.1"


def test_a_password_opens_the_broker(brokers: BrokerFactory, hear: Hear, link_to: LinkTo, tmp_path: Path) -> None:
    """User and password get in; a wrong password is refused with the user's name and without the password."""
    secrets = tmp_path / "passwords"
    secrets.write_text(password_line("shed", "brine"))
    broker = brokers([f"password_file {secrets}"], anonymous=False)
    wrong = hear(link_to(broker, "a", user="shed", password="shrimp"), [TOPIC])
    until(lambda: wrong.session.state.connections >= 3)
    assert wrong.ups == [False]
    assert "check the password of user shed" in wrong.links[0][1]
    assert "shrimp" not in str(wrong.links)
    hear(link_to(broker, "b", user="shed", password="brine"), [TOPIC]).wait_up()
    nobody = hear(link_to(broker, "c"), [TOPIC])
    until(lambda: nobody.ups == [False])
    assert "it wants a user and a password" in nobody.links[0][1]


def password_line(user: str, password: str) -> str:
    """One line of mosquitto's password file: PBKDF2 with SHA-512, iterations and salt beside it."""
    salt = b"twelve-bytes"
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, 101)
    return f"{user}:$7$101${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}\n"


def test_tls_with_an_own_authority(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, authorities: Callable[[str], Authority], tmp_path: Path
) -> None:
    """A broker with a certificate of our authority, which wants one of ours, is reached; a strange one is refused."""
    ours, strange = authorities("ours"), authorities("strange")
    server, client = ours.papers("broker"), ours.papers("swimup")
    broker = brokers(
        [f"cafile {ours.ca_file}", f"certfile {server.cert}", f"keyfile {server.key}", "require_certificate true"]
    )
    papers = {"tls": True, "cert_file": client.cert, "key_file": client.key}
    hearing = hear(link_to(broker, ca_file=ours.ca_file, **papers), [TOPIC])
    hearing.wait_up()
    hearing.session.publish(TOPIC, "21.4", retain=False)
    hearing.wait_payloads(1)
    refused = [
        (link_to(broker, "deceived", ca_file=strange.ca_file, **papers), "certificate verify failed"),
        (link_to(broker, "confused", ca_file=tmp_path / "missing.pem", **papers), "missing.pem"),
        (link_to(broker, "bare", tls=True, ca_file=ours.ca_file), "certificate of ours"),
    ]
    for link, reason in refused:
        other = hear(link, [TOPIC])
        until(other.tried_often)
        assert other.ups == [False]
        assert reason in other.links[0][1]


def test_two_clients_with_one_id_are_told_once(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Two that throw each other out tell of the shared id once, name it, and don't storm the broker."""
    pair = [hear(link_to(mosquitto), [TOPIC]) for _ in range(2)]
    until(lambda: all(one.problems for one in pair))
    told_at = [one.session.state.connections for one in pair]
    until(lambda: all(one.session.state.connections >= at + 3 for one, at in zip(pair, told_at, strict=True)))
    for one in pair:
        assert [subject for subject, _ in one.problems].count("client-id") == 1
        assert "swimup-shed" in dict(one.problems)["client-id"]
    pair[0].session.stop()
    until(lambda: pair[1].session.state.up)


def test_a_refused_topic_is_told(brokers: BrokerFactory, hear: Hear, link_to: LinkTo, tmp_path: Path) -> None:
    """A topic that the broker does not let us read is named, once; the others work."""
    broker = brokers(roles(tmp_path, [TOPIC, "swimup/shed/marker"]))
    hearing = hear(link_to(broker), [TOPIC, "shed/birch/water"])
    hearing.wait_up()
    broker.restart()
    hearing.wait_up(2)
    broker.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    assert [subject for subject, _ in hearing.problems] == ["shed/birch/water"]


def test_without_the_marker_messages_count_as_live_in_the_end(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broker that refuses us the marker makes readings count as queued for a bounded time only, and is told."""
    broker = brokers(roles(tmp_path, [TOPIC]))
    first = hear(link_to(broker), [TOPIC])
    first.wait_up()
    first.session.stop()
    broker.publish(TOPIC, "21.4")
    monkeypatch.setattr(connection, "MARKER_S", 0.5)
    second = hear(link_to(broker), [TOPIC])
    second.wait_payloads(1)
    until(lambda: second.session.state.live)
    broker.publish(TOPIC, "21.5")
    second.wait_payloads(2)
    assert [message.queued for message in second.messages] == [True, False]
    assert [subject for subject, _ in second.problems] == ["swimup/shed/marker"]


def roles(folder: Path, topics: list[str]) -> list[str]:
    """Configuration under which anybody may publish, and subscribe to these topics only."""
    plugins = sorted(Path("/usr/lib").glob("**/mosquitto_dynamic_security.so"))
    if not plugins:
        pytest.skip("mosquitto was built without its plugin for roles")
    acls = [{"acltype": "subscribeLiteral", "topic": topic, "priority": 0, "allow": True} for topic in topics]
    access = {"publishClientSend": True, "publishClientReceive": True, "subscribe": False, "unsubscribe": True}
    rules = {
        "defaultACLAccess": access,
        "clients": [],
        "groups": [{"groupname": "anybody", "roles": [{"rolename": "reader"}]}],
        "roles": [{"rolename": "reader", "acls": acls}],
        "anonymousGroup": "anybody",
    }
    file = folder / "roles.json"
    file.write_text(json.dumps(rules))
    return [f"plugin {plugins[0]}", f"plugin_opt_config_file {file}"]


@pytest.mark.parametrize(
    "noise",
    [
        b"HTTP/1.1 400 Bad Request\r\n\r\n",
        b"\x20\x03\x00\x00",
        b"\x20\x02\x00\x77",
        b"\x20\xff\xff\xff\xff\xff",
        b"\x30\x02\x00\x10",
        b"\xf0\x00" * 20,
        bytes(range(256)),
    ],
)
def test_a_peer_that_talks_nonsense_does_no_harm(noise: bytes, hear: Hear) -> None:
    """Whatever a peer that is no broker sends, the thread lives, keeps trying, and the link is told down once."""
    with peer(lambda _connect: noise) as port:
        hearing = hear(Link("127.0.0.1", port, "swimup-shed"), [TOPIC])
        until(lambda: hearing.session.state.connections >= 6)
        assert hearing.session.alive
        assert hearing.ups == [False]


def test_a_plain_refusal_of_the_version_is_remembered(hear: Hear) -> None:
    """A broker that answers MQTT 5 with "unacceptable protocol version" is asked with 3.1.1 from then on."""
    levels: list[int] = []

    def refuse_five(connect: bytes) -> bytes:
        levels.append(connect[8])  # the protocol level, MQTT 3.1.1 section 3.1.2.2
        return b"\x20\x02\x00\x01" if connect[8] == 5 else b""

    with peer(refuse_five) as port:
        hear(Link("127.0.0.1", port, "swimup-shed"), [TOPIC])
        until(lambda: len(levels) >= 5)
    assert levels[:5] == [5, 4, 4, 4, 4]


@contextmanager
def peer(reply: Callable[[bytes], bytes]) -> Iterator[int]:
    """The port of something that answers the first packet of each connection and hangs up."""
    over = threading.Event()

    def serve(server: socket.socket) -> None:
        while not over.is_set():
            try:
                caller, _ = server.accept()
            except TimeoutError:
                continue
            with caller, suppress(ConnectionError):
                if packet := caller.recv(4096):
                    caller.sendall(reply(packet))

    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.1)
        thread = threading.Thread(target=serve, args=(server,))
        thread.start()
        try:
            yield server.getsockname()[1]
        finally:
            over.set()
            thread.join()
