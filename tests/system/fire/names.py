"""Names that are known for a time only: a name space of mounts in which the table of hosts is our own."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import wraps
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.system.fire.fault import Ground

INSIDE: Final = "SWIMUP_FIRE_NAMES"
WAYS: Final = (("unshare", "--mount"), ("unshare", "--map-root-user", "--mount"))
"""For root, and for whoever is not."""
NOT_TRIED: Final = (
    "a name that is not found could not be tried: no name space of mounts is allowed here; run it as root"
)
PATIENCE_S: Final = 300.0
ALWAYS: Final = "127.0.0.1 localhost\n"


def with_own_names(name: str) -> Callable[[Callable[[Ground], None]], Callable[[Ground], None]]:
    """The fault of this name is tried by the command once more, inside of such a name space."""

    def wrap(trial: Callable[[Ground], None]) -> Callable[[Ground], None]:
        @wraps(trial)
        def attempt(ground: Ground) -> None:
            if INSIDE in os.environ:
                trial(ground)
                return
            way = next((way for way in WAYS if _works(way)), None)
            assert way is not None, NOT_TRIED
            seed = str(ground.random.randrange(1 << 30))
            command = [*way, sys.executable, "-m", "tests.system.fire", "--only", name, "--times", "1", "--seed", seed]
            inside = os.environ | {INSIDE: "1"}
            done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=PATIENCE_S, env=inside)
            assert done.returncode == 0, done.stdout + done.stderr

        return attempt

    return wrap


def _works(way: tuple[str, ...]) -> bool:
    try:
        return (
            subprocess.run(
                [*way, "mount", "--bind", "/etc/hosts", "/etc/hosts"], check=False, capture_output=True
            ).returncode
            == 0
        )
    except FileNotFoundError:
        return False


class Names:
    """The table of hosts of everybody inside; no name server is there to be asked for others."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True)
        self._hosts, server = folder / "hosts", folder / "resolv.conf"
        self.forget()
        server.write_text("nameserver 127.0.0.1\n")
        for ours, place in ((self._hosts, "/etc/hosts"), (server, "/etc/resolv.conf")):
            subprocess.run(["mount", "--bind", str(ours), place], check=True)

    def know(self, name: str) -> None:
        self._hosts.write_text(f"{ALWAYS}127.0.0.1 {name}\n")

    def forget(self) -> None:
        self._hosts.write_text(ALWAYS)
