"""Where letters end: real counterparts on the loopback address that can be away, hang, refuse, and work again."""

from __future__ import annotations

import json
import os
import shutil
import socket
import ssl
import sys
import threading
import time
from base64 import urlsafe_b64encode
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Protocol

import http_ece
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from monitor.core.phones import Phone
from monitor.intake.link import Link
from monitor.notify.apprise_channel import AppriseChannel
from monitor.notify.mqtt_channel import MqttChannel
from monitor.notify.phonebook import PhoneBook
from monitor.notify.pushing import Way
from monitor.notify.pushkey import PushKey
from monitor.notify.webhook_channel import WebhookChannel
from monitor.notify.webpush_channel import WebPushChannel
from tests.adapters.intake.certificates import Authority
from tests.conftest import Mosquitto, free_port

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from monitor.notify import Channel
    from tests.adapters.intake.certificates import Papers

TIMEOUT_S = 4.0  # a handshake beside a busy suite is no hang
SECRET = "a secret of the shed and its server"
PATH = "hidden-path"
TOPIC = "swimup/shed/push"


class Counterpart(Protocol):
    """The other end of a channel. It is away until it is told otherwise, and keeps its port."""

    @property
    def channel(self) -> Channel: ...

    def work(self) -> None: ...
    def hang(self) -> None: ...
    def show_expired(self) -> None: ...
    def away(self) -> None: ...

    def ids(self, count: int) -> list[str]:
        """The ids of the letters that came, in order; waits until there are ``count``."""


class WebServer:
    """Keeps what is posted to it over TLS; ``answer`` and ``headers`` are what it says to it."""

    def __init__(self, folder: Path) -> None:
        authority = Authority(folder / "web", "ours")
        self.ca_file = authority.ca_file
        self._good, self._expired = authority.papers("good"), authority.papers("expired", expired=True)
        self.port = free_port()
        self.answer: int | None = 200
        self.answers: Mapping[str, int] = {}  # by the end of the path, where it is another
        self.headers: Mapping[str, str] = {}
        self.requests: list[tuple[str, Mapping[str, str], bytes]] = []
        self._server: ThreadingHTTPServer | None = None
        self._listener: socket.socket | None = None

    def work(self) -> None:
        self._serve(self._good)

    def show_expired(self) -> None:
        self._serve(self._expired)

    def hang(self) -> None:
        """The system takes connections; nobody ever answers."""
        self.away()
        self._listener = socket.create_server(("127.0.0.1", self.port))

    def away(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def judge(self, path: str, headers: Mapping[str, str], body: bytes) -> int | None:
        """The status of the answer to a whole request; with None it was taken and nobody hears of it."""
        self.requests.append((path, headers, body))
        return None if self.answer is None else self.answers.get(path.rpartition("/")[2], self.answer)

    def _serve(self, papers: Papers) -> None:
        self.away()
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(papers.cert, papers.key)
        self._server = _TlsServer(self, context)
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()


class _TlsServer(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = True

    def __init__(self, owner: WebServer, context: ssl.SSLContext) -> None:
        self._context = context

        class Answer(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers.get("Content-Length", -1))
                body = self.rfile.read(max(length, 0))
                # The client may have ended in the middle of its words.
                answer = owner.judge(self.path, dict(self.headers), body) if len(body) == length else None
                if answer is None:
                    self.close_connection = True
                    return
                self.send_response(answer)
                for name, value in owner.headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing: what counts is kept."""

        super().__init__(("127.0.0.1", owner.port), Answer)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that is gone before its answer is no error of ours; all else is told."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)

    def finish_request(self, request: Any, client_address: Any) -> None:
        """In the thread of the request: a client that hangs in the handshake holds up nobody."""
        try:
            wrapped = self._context.wrap_socket(request, server_side=True)
        except (ssl.SSLError, OSError):
            return  # the client did not trust us
        with wrapped:
            super().finish_request(wrapped, client_address)


class Webhook(WebServer):
    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        url = f"https://127.0.0.1:{self.port}/{PATH}?key=hidden-key"
        self.channel = WebhookChannel("hook", url, SECRET, site="shed", ca_file=self.ca_file, timeout=TIMEOUT_S)

    def ids(self, count: int) -> list[str]:
        return [json.loads(body)["id"] for _, _, body in _when(self.requests, count)]


class Messenger(WebServer):
    """A service that the apprise library speaks to. It trusts ``ca_file`` only where the environment says so."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.channel = AppriseChannel("phone", f"jsons://127.0.0.1:{self.port}/{PATH}", timeout=TIMEOUT_S)

    def ids(self, count: int) -> list[str]:
        messages = [json.loads(body)["message"] for _, _, body in _when(self.requests, count)]
        return [message.rpartition("ref ")[2] for message in messages]


class PushService(WebServer):
    """The push service of a browser's maker, and the browser behind it: only it can read what is pushed."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._auth = os.urandom(16)
        self.book = PhoneBook()
        self.key = PushKey(folder / "push.key", "https://shed.home.arpa:8417")
        self.book.renew({"ann": self.phone("ann")})
        self.channel = WebPushChannel("phones", self.book, self.key, way=Way(self.ca_file), timeout=TIMEOUT_S)

    def phone(self, name: str) -> Phone:
        """One that is subscribed here; the end of its address tells it from others."""
        point = self._key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        endpoint = f"https://127.0.0.1:{self.port}/{PATH}/{name}"
        return Phone(name, f"{name}'s phone", endpoint, _b64(point), _b64(self._auth), 0)

    def opened(self, body: bytes) -> dict[str, Any]:
        """What the browser reads (RFC 8291)."""
        text = http_ece.decrypt(body, private_key=self._key, auth_secret=self._auth, version="aes128gcm")
        said: dict[str, Any] = json.loads(text)
        return said

    def ids(self, count: int) -> list[str]:
        return [self.opened(body)["id"] for _, _, body in _when(self.requests, count)]


def _b64(raw: bytes) -> str:
    return urlsafe_b64encode(raw).rstrip(b"=").decode()


class Broker:
    """A mosquitto with TLS, and somebody who listens there."""

    def __init__(self, folder: Path) -> None:
        authority = Authority(folder / "mqtt", "ours")
        self._ca_file = authority.ca_file
        self._good, self._expired = authority.papers("good"), authority.papers("expired", expired=True)
        self._folder = folder / "broker"
        cert, key = self._folder / "shown.pem", self._folder / "shown.key"
        self.acl = self._folder / "acl"
        self._mosquitto = Mosquitto(self._folder, [f"certfile {cert}", f"keyfile {key}", f"acl_file {self.acl}"])
        self._shown = cert, key
        self.allow()
        self._listener: socket.socket | None = None
        self._ear: Client | None = None
        self._heard: list[bytes] = []
        link = Link("127.0.0.1", self._mosquitto.port, "swimup-shed", tls=True, ca_file=self._ca_file)
        self.channel = MqttChannel("board", link, TOPIC, site="shed", timeout=TIMEOUT_S)

    def allow(self, access: str = "readwrite #") -> None:
        """What everybody may do, from the next start on."""
        self.acl.write_text(f"topic {access}\n")
        self.acl.chmod(0o600)

    def work(self) -> None:
        self._start(self._good)
        ear = Client(CallbackAPIVersion.VERSION2)
        ear.tls_set(str(self._ca_file))
        listening = threading.Event()
        ear.on_connect = lambda client, *_: client.subscribe(TOPIC, qos=1)
        ear.on_subscribe = lambda *_: listening.set()
        ear.on_message = lambda _client, _data, message: self._heard.append(bytes(message.payload))
        ear.connect("127.0.0.1", self._mosquitto.port)
        ear.loop_start()
        self._ear = ear
        assert listening.wait(10), "nobody listens at the broker"

    def show_expired(self) -> None:
        self._start(self._expired)

    def hang(self) -> None:
        self.away()
        self._listener = socket.create_server(("127.0.0.1", self._mosquitto.port))

    def away(self) -> None:
        if self._ear is not None:
            self._ear.disconnect()
            self._ear.loop_stop()
            self._ear = None
        self._mosquitto.stop()
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def ids(self, count: int) -> list[str]:
        return [json.loads(body)["id"] for body in _when(self._heard, count)]

    def _start(self, papers: Papers) -> None:
        self.away()
        for source, shown in zip((papers.cert, papers.key), self._shown, strict=True):
            shutil.copy(source, shown)
        self._mosquitto.start()


def _when(came: list[Any], count: int) -> list[Any]:
    deadline = time.monotonic() + 10
    while len(came) < count and time.monotonic() < deadline:
        time.sleep(0.01)
    return list(came)
