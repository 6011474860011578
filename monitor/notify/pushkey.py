"""The key by which push services know this service (VAPID, RFC 8292): made at first use, kept in a file of its owner's.

A phone is subscribed for one key. When the file is lost, every phone must be subscribed again.
"""

from __future__ import annotations

import threading
import time
from base64 import urlsafe_b64encode
from typing import TYPE_CHECKING, Any, Final

from monitor.web.options import WebProblem
from monitor.web.secretfile import write_owner_only

if TYPE_CHECKING:
    from pathlib import Path

GOOD_FOR_S: Final = 12 * 3600
"""Seconds a signature is valid; RFC 8292 section 2 allows 24 h, and clocks differ."""


class PushKey:
    """Safe from any thread. ``contact`` is told to push services: an https address, or a mailto."""

    def __init__(self, path: Path, contact: str) -> None:
        self._path = path
        self._contact = contact
        self._lock = threading.Lock()
        self._key: Any = None

    def public(self) -> str:
        """What a browser subscribes with: the uncompressed point in base64url. Raises WebProblem."""
        from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat  # noqa: PLC0415

        point = self._vapid().public_key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return urlsafe_b64encode(point).rstrip(b"=").decode()

    def authorization(self, audience: str) -> str:
        """The value of the header for one push service, ``https://host[:port]``. Raises WebProblem."""
        claims = {"aud": audience, "exp": int(time.time()) + GOOD_FOR_S, "sub": self._contact}
        return str(self._vapid().sign(claims)["Authorization"])

    def _vapid(self) -> Any:
        from cryptography.hazmat.primitives.serialization import load_pem_private_key  # noqa: PLC0415
        from py_vapid import Vapid02  # noqa: PLC0415  (only where phones are subscribed)

        with self._lock:
            if self._key is not None:
                return self._key
            try:
                # Not strict: the library's own idea of a contact knows no port.
                self._key = Vapid02(load_pem_private_key(self._kept(), None), conf={"no-strict": True})
            except (OSError, ValueError, TypeError) as problem:
                raise WebProblem(
                    f'"{self._path}" holds no key for pushes or cannot be used ({problem}): give it to this user, or '
                    "remove it; then a new one is made and every phone must be subscribed again."
                ) from problem
            return self._key

    def _kept(self) -> bytes:
        """The key as PEM; a new one where there is none, or where a power cut left the file empty."""
        from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415
        from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat  # noqa: PLC0415

        kept = self._path.read_bytes() if self._path.exists() else b""
        if kept.strip():
            if self._path.stat().st_mode & 0o077:
                self._path.chmod(0o600)
            return kept
        made = ec.generate_private_key(ec.SECP256R1())
        kept = made.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        write_owner_only(self._path, kept)
        return kept
