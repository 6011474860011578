"""Where the page is served and who may see it."""

from __future__ import annotations

import ipaddress
from dataclasses import field
from typing import TYPE_CHECKING, Self

from monitor.core.food import Costs
from monitor.core.light import light

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.settings.settings import Settings

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


class WebProblem(Exception):  # noqa: N818  (it speaks of the keeper's configuration or machine)
    """The page cannot be served as configured; the message says what was found and what to do.

    ``transient``: the machine is at fault and not the configuration, so that a later start may succeed.
    """

    def __init__(self, message: str, *, transient: bool = False) -> None:
        super().__init__(message)
        self.transient = transient


def is_loopback(host: str) -> bool:
    """Whether a bind address or host name can only be reached from this machine."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


@light
class WebOptions:
    """How the page is served.

    ``state_dir`` keeps the session key and the token of the command line, both readable by the owner only.
    Raises WebProblem when others than this machine could reach the page without a password and TLS.
    """

    state_dir: Path
    host: str = "127.0.0.1"
    port: int = 8417
    password_hash_file: Path | None = None
    viewer_hash_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    hostnames: tuple[str, ...] = ()
    address: str = ""
    rooms: bool = False
    proxies: tuple[str, ...] = ()
    costs: Costs = field(default_factory=Costs)

    @classmethod
    def from_settings(cls, settings: Settings) -> Self:
        """What the configuration says; the secrets of the page lie beside the store."""
        web = settings.web
        return cls(
            state_dir=settings.store.path.parent,
            host=web.host,
            port=web.port,
            password_hash_file=web.password_file,
            viewer_hash_file=web.viewer_password_file,
            cert_file=web.cert_file,
            key_file=web.key_file,
            hostnames=web.hostnames,
            address=web.address or "",
            rooms=settings.rooms.show,
            proxies=web.proxies,
            costs=settings.food.costs(),
        )

    def __post_init__(self) -> None:
        if (self.cert_file is None) != (self.key_file is None):
            found, missing = ("cert_file", "key_file") if self.key_file is None else ("key_file", "cert_file")
            raise WebProblem(
                f"web.{found} is given without web.{missing}: give both, or neither. swimup cert makes them."
            )
        if self.viewer_hash_file is not None and self.password_hash_file is None:
            raise WebProblem(
                "web.viewer_password_file is given without web.password_file: looking would need a password, acting none. "
                "Set the keeper's first: swimup password, then web.password_file."
            )
        if not is_loopback(self.host):
            self._need(f'web.host is "{self.host}", which other machines can reach', tls=True)
        foreign = [name for name in self.hostnames if not is_loopback(name)]
        if foreign:
            # Somebody passes requests on under that name, so loopback no longer means "this machine's keeper".
            self._need(
                f'web.hostnames has "{foreign[0]}", so the page is meant to be reached from elsewhere', tls=False
            )

        if self.proxies:
            self._need(
                f'web.proxies has "{self.proxies[0]}", so the page is meant to be reached from elsewhere', tls=False
            )

    def _need(self, why: str, *, tls: bool) -> None:
        missing = []
        if self.password_hash_file is None:
            missing.append("a password (swimup password, then web.password_file)")
        if tls and not self.tls:
            missing.append("a certificate (swimup cert, then web.cert_file and web.key_file)")
        if missing:
            raise WebProblem(f'{why}: it needs {" and ".join(missing)}, or web.host = "127.0.0.1".')

    @property
    def tls(self) -> bool:
        return self.cert_file is not None

    @property
    def secure(self) -> bool:
        """Whether browsers reach the page by TLS, its own or a proxy's, so that its cookie never needs to go in the clear."""
        return self.tls or (bool(self.proxies) and self.address.startswith("https://"))

    @property
    def exposed(self) -> bool:
        return not is_loopback(self.host)

    @property
    def login_needed(self) -> bool:
        return self.password_hash_file is not None

    @property
    def token_file(self) -> Path:
        return self.state_dir / "cli.token"

    @property
    def tokens_file(self) -> Path:
        """The hashes of what ``swimup token`` has made."""
        return self.state_dir / "tokens.json"

    @property
    def link_key_file(self) -> Path:
        """Signs the links in letters; removing it and starting anew voids all that were sent."""
        return self.state_dir / "link.key"

    @property
    def calendar_key_file(self) -> Path:
        """Of this the calendar's address is made; removing it voids the one that was given."""
        return self.state_dir / "calendar.key"

    @property
    def session_key_file(self) -> Path:
        return self.state_dir / "session.key"
