"""What every request passes before anything else: size, Host, Origin; and the headers every answer leaves with."""

from __future__ import annotations

import ipaddress
import re
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders

from monitor.web.options import LOOPBACK_NAMES
from monitor.web.problems import Trouble, problem_response

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from monitor.web.options import WebOptions

LARGEST_BODY: Final = 65_536
LINK_PATH: Final = "/act/"
_HOST: Final = re.compile(r"(?:\[([0-9a-f:.]+)\]|([^:\[\]]+))(?::\d{1,5})?")

SECURITY_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'; object-src 'none'"
    ),
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": under that a browser sends "Origin: null" with a form, and the Origin check could not work.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def host_name(host: str) -> str:
    """The name in a Host header without its port, lower case, IPv6 without brackets; empty for what is none."""
    found = _HOST.fullmatch(host.strip().lower())
    return (found[1] or found[2]).rstrip(".") if found else ""


class Guard:
    """Outermost middleware. Refuses foreign Hosts (DNS rebinding), foreign Origins and big bodies."""

    def __init__(self, app: ASGIApp, options: WebOptions) -> None:
        self._app = app
        self._names = LOOPBACK_NAMES | {name.lower() for name in options.hostnames}
        self._exposed = options.exposed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers[name] = value
                if scope["path"].startswith(LINK_PATH):
                    headers["Referrer-Policy"] = "no-referrer"  # the address itself is the key
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        trouble = self._trouble(scope)
        if trouble is not None:
            await problem_response(trouble)(scope, receive, send_with_headers)
            return
        await self._app(scope, _measured(receive), send_with_headers)

    def _trouble(self, scope: Scope) -> Trouble | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._known(host_name(host), scope):
            return Trouble(
                421, f'This is not "{host[:80]}". Use the address of this machine, or add the name to web.hostnames.'
            )
        # A link acts for whoever holds it, with no cookie that another site could borrow.
        own_key = scope["path"].startswith(LINK_PATH)
        if scope["method"] not in ("GET", "HEAD") and not own_key and _foreign(headers, host):
            return Trouble(403, "Another site sent this. Open the page itself and try again.")
        if "transfer-encoding" in headers and "content-length" in headers:
            # RFC 9112, section 6.3: two ways to tell where a body ends hide a second request from a proxy.
            return Trouble(400, "The request tells its length in two ways.", headers={"Connection": "close"})
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_BODY:
            return Trouble(413, f"The request is larger than {LARGEST_BODY} bytes.")
        return None

    def _known(self, name: str, scope: Scope) -> bool:
        if name in self._names:
            return True
        if not self._exposed:
            return False
        # An address in figures that the request really arrived at can't have been rebound: no name was looked up.
        arrived = scope.get("server")
        try:
            return arrived is not None and ipaddress.ip_address(name) == ipaddress.ip_address(arrived[0])
        except ValueError:
            return False


def _foreign(headers: Headers, host: str) -> bool:
    origin = headers.get("origin")
    if origin is not None and urlsplit(origin).netloc.lower() != host.strip().lower():
        return True
    return headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def _measured(receive: Receive) -> Receive:
    """Counts a body that came without a length, and ends it at the limit."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY:
                raise Trouble(413, f"The request is larger than {LARGEST_BODY} bytes.")
        return message

    return counted
