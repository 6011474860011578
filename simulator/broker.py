"""The way out: one MQTT session to a broker on this very machine."""

from __future__ import annotations

import ipaddress
import logging
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

if TYPE_CHECKING:
    from paho.mqtt.reasoncodes import ReasonCode

log = logging.getLogger("swimup-sim")

IN_FLIGHT = 20  # what brokers commonly allow at once
WINDOW = 500  # messages handed over and not yet acknowledged; beyond, publishing waits
LONGEST_PAUSE_S = 8


class BrokerError(Exception):
    """A broker that may not be used, or that will not have us."""


@dataclass(frozen=True, slots=True)
class Broker:
    host: str
    port: int
    user: str | None = None


def parse_broker(url: str) -> Broker:
    """Read ``mqtt://[user@]host[:port]``; raises BrokerError unless the host is this machine's loopback.

    Invented readings must never reach a broker that someone relies on.
    """
    parts = urlsplit(url)
    if parts.scheme != "mqtt" or not parts.hostname:
        raise BrokerError(f"{url!r} is no broker address; allowed is mqtt://127.0.0.1:1883")
    if parts.password is not None:
        raise BrokerError("a password does not belong into the address; set SWIMUP_SIM_PASSWORD in the environment")
    if not _loopback(parts.hostname):
        raise BrokerError(
            f"{parts.hostname!r} is not this machine; a simulated shed publishes to loopback only "
            "(127.0.0.0/8, ::1 or localhost)"
        )
    try:
        port = parts.port or 1883
    except ValueError as error:
        raise BrokerError(f"{url!r}: the port must be a number from 1 to 65535") from error
    return Broker(parts.hostname, port, unquote(parts.username) if parts.username else None)


def _loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class Link:
    """Publishes at QoS 1 and counts what the broker has acknowledged. Lost links come back by themselves.

    paho keeps what is unacknowledged and sends it again after a reconnect, so nothing handed over is lost while the
    process lives.
    """

    def __init__(self, broker: Broker, client_id: str, password: str | None = None) -> None:
        self._broker = broker
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=client_id)
        if broker.user is not None:
            self._client.username_pw_set(broker.user, password)
        self._client.max_inflight_messages_set(IN_FLIGHT)
        self._client.reconnect_delay_set(1, LONGEST_PAUSE_S)
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected
        self._client.on_connect_fail = self._failed
        self._client.on_publish = self._acknowledged
        self._change = threading.Condition()
        self._outstanding = 0
        self._stopping = False
        self._down_told = False
        self.acknowledged = 0
        self.refused: str | None = None
        self.ever_up = False

    def start(self) -> None:
        """Connect in the background, as soon as the broker is there."""
        self._client.connect_async(self._broker.host, self._broker.port, keepalive=30)
        self._client.loop_start()

    def wait_up(self, seconds: float, stop: threading.Event) -> bool:
        """Wait for the first connection; False when time is up or ``stop`` is set first. Raises BrokerError."""
        deadline = time.monotonic() + seconds
        with self._change:
            while not self.ever_up:
                self.check()
                if stop.is_set() or time.monotonic() > deadline:
                    return False
                self._change.wait(0.2)
        return True

    def publish(self, topic: str, payload: bytes, stop: threading.Event) -> bool:
        """Hand over one message; waits while too many are unacknowledged. False when stopped meanwhile.

        Raises BrokerError when the broker has refused us.
        """
        with self._change:
            while self._outstanding >= WINDOW and not stop.is_set():
                self.check()
                self._change.wait(0.2)
            self.check()
            if stop.is_set():
                return False
            self._outstanding += 1
        self._client.publish(topic, payload, qos=1)
        return True

    def drain(self, seconds: float, stop: threading.Event | None = None) -> bool:
        """Wait until all is acknowledged; False when time is up or ``stop`` is set first."""
        deadline = time.monotonic() + seconds
        with self._change:
            while self._outstanding:
                left = deadline - time.monotonic()
                if left <= 0 or (stop is not None and stop.is_set()):
                    return False
                self.check()
                self._change.wait(min(left, 0.2))
        return True

    def stop(self) -> None:
        """Say goodbye and end the background thread."""
        self._stopping = True
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def outstanding(self) -> int:
        """Messages handed over and not yet acknowledged."""
        return self._outstanding

    def check(self) -> None:
        """Raise BrokerError when the broker has refused us."""
        if self.refused is not None:
            raise BrokerError(
                f"the broker at {self._broker.host}:{self._broker.port} refuses the simulator: {self.refused}; "
                "give the user as mqtt://user@... and the password in SWIMUP_SIM_PASSWORD"
            )

    def _connected(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:
        with self._change:
            if code.is_failure:
                self.refused = str(code)
            else:
                self.ever_up = True
                self._down_told = False
                log.info("connected with the broker at %s:%d", self._broker.host, self._broker.port)
            self._change.notify_all()

    def _disconnected(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:
        if self.ever_up:
            self._tell_down("lost the broker", str(code))

    def _failed(self, _client: Client, _data: Any) -> None:
        self._tell_down("no broker", "no connection")

    def _tell_down(self, what: str, reason: str) -> None:
        if self._stopping or self._down_told:
            return
        self._down_told = True
        log.warning("%s at %s:%d (%s); trying again", what, self._broker.host, self._broker.port, reason)

    def _acknowledged(self, _client: Client, _data: Any, _mid: int, _code: ReasonCode, _properties: Any) -> None:
        with self._change:
            self._outstanding -= 1
            self.acknowledged += 1
            self._change.notify_all()
