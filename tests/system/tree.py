"""A fresh Debian in a folder, entered with chroot in name spaces of its own: what runs in it ends with whoever started it."""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

CHECKOUT: Final = Path(__file__).parents[2]
INSIDE: Final = "/srv/swimup"
"""Where a copy of the checkout lies in the tree."""
MINUTES: Final = 1800.0
VOLATILE: Final = ("proc", "sys", "dev", "run", "tmp", "srv", "var/log", "var/lib/swimup", "var/lib/mosquitto")
"""Not compared: what the kernel shows, logs, and what the services themselves keep."""

_ENTER: Final = """\
mount --bind /dev "$0/dev" && mount --bind /dev/pts "$0/dev/pts" &&
exec chroot "$0" "$@"
"""

Listing = dict[str, tuple[int, int, int, int, str]]
"""By path: mode, user, group, time of change in ns, and the content's hash or a link's target."""


def mirror() -> str:
    """The Debian mirror that this machine's own packages come from."""
    command = ["apt-get", "indextargets", "--format", "$(ORIGIN) $(REPO_URI)"]
    told = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout
    return next(line.removeprefix("Debian ") for line in told.splitlines() if line.startswith("Debian "))


class DebianTree:
    def __init__(self, folder: Path, suite: str, *more: str) -> None:
        """``more`` are packages that the smallest of all Debians lacks."""
        self.path = folder
        command = ["nice", "-n", "19", "debootstrap", "--variant=minbase"]
        command += (
            [f"--include={','.join(more)}", suite, str(folder), mirror()] if more else [suite, str(folder), mirror()]
        )
        subprocess.run(command, check=True, timeout=MINUTES, capture_output=True)
        for file in ("/etc/resolv.conf", "/etc/hosts"):
            shutil.copy(file, folder / file.removeprefix("/"))
        ours = shutil.ignore_patterns(".*", "__pycache__", "var")
        shutil.copytree(CHECKOUT, folder / INSIDE.removeprefix("/"), ignore=ours)
        # No service is started by its package's installation: it would be seen outside of the tree.
        policy = folder / "usr/sbin/policy-rc.d"
        policy.write_text("#!/bin/sh\nexit 101\n")
        policy.chmod(0o755)
        self._environment = self._index(folder)

    @staticmethod
    def _index(folder: Path) -> dict[str, str]:
        """How pip reaches its index from here; the certificate that it trusts is brought along."""
        found = {
            name: value for name, value in os.environ.items() if name.startswith("PIP_") or "proxy" in name.lower()
        }
        found.pop("PIP_FIND_LINKS", None)
        if certificate := found.get("PIP_CERT"):
            shutil.copy(certificate, folder / "srv/index.pem")
            found["PIP_CERT"] = "/srv/index.pem"
        return found

    def command(self, *arguments: str) -> list[str]:
        """What to start for a command in the tree."""
        enter = ["unshare", "--pid", "--fork", "--kill-child", "--mount", f"--mount-proc={self.path / 'proc'}"]
        return [*enter, "sh", "-c", _ENTER, str(self.path), *self.clean(), *arguments]

    def clean(self) -> list[str]:
        """An environment of its own, but for the way to pip's index."""
        environment = [f"{name}={value}" for name, value in self._environment.items()]
        path = "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
        return ["env", "-i", "HOME=/root", path, *environment]

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = self.command(*arguments)
        return subprocess.run(
            command, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=MINUTES, check=False
        )

    def listing(self) -> Listing:
        """All files, folders and links that are compared."""
        return dict(self._walk(self.path))

    def _walk(self, folder: Path) -> Iterable[tuple[str, tuple[int, int, int, int, str]]]:
        for entry in os.scandir(folder):
            name = str(Path(entry.path).relative_to(self.path))
            if name in VOLATILE:
                continue
            found = entry.stat(follow_symlinks=False)
            content = ""
            if entry.is_symlink():
                content = str(Path(entry.path).readlink())
            elif stat.S_ISREG(found.st_mode):
                content = hashlib.sha256(Path(entry.path).read_bytes()).hexdigest()
            yield name, (found.st_mode, found.st_uid, found.st_gid, found.st_mtime_ns, content)
            if entry.is_dir(follow_symlinks=False):
                yield from self._walk(Path(entry.path))

    def owned_by(self, user: int) -> list[str]:
        """Whatever belongs to a user, volatile or not."""
        command = ["find", str(self.path), "-xdev", "(", "-uid", str(user), "-o", "-gid", str(user), ")"]
        return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.split()


class Booted:
    """The tree as a machine of its own, with its systemd running; the network is this machine's."""

    def __init__(self, tree: DebianTree) -> None:
        self.tree = tree
        self._name = f"swimup-trial-{os.getpid()}"
        command = ["systemd-nspawn", "--quiet", "-D", str(tree.path), f"--machine={self._name}", "--boot"]
        command += ["--register=no", "--keep-unit", "--console=pipe"]
        environment = os.environ | {"SYSTEMD_NSPAWN_UNIFIED_HIERARCHY": "1"}
        with (tree.path / "srv/boot.log").open("ab") as log:
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environment)

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        children = Path(f"/proc/{self._process.pid}/task/{self._process.pid}/children").read_text().split()
        first = children[0] if children else "0"  # its process 1
        command = ["nsenter", "-t", first, "-a", *self.tree.clean(), *arguments]
        return subprocess.run(
            command, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=MINUTES, check=False
        )

    def property(self, unit: str, name: str) -> str:
        return self.run("systemctl", "show", unit, "-p", name, "--value").stdout.strip()

    def end(self) -> None:
        self.run("systemctl", "poweroff")
        try:
            self._process.wait(60)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(60)
        with suppress(OSError):
            Path("/run/systemd/nspawn/propagate", self._name).rmdir()
