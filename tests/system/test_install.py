"""The install script: what it says beforehand, and what it does to a fresh Debian."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.system.daemon import PATIENCE_S, quiet_port, until
from tests.system.tree import CHECKOUT, INSIDE, Booted, DebianTree, Listing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.system.daemon import Phone

INSTALL: Final = f"{INSIDE}/deploy/install.sh"
TOUCHED: Final = (
    "/etc/swimup",
    "/opt/swimup",
    "/var/lib/swimup",
    "/etc/mosquitto",
    "/etc/systemd/system",
    "/usr/local/bin",
)
USER_BACKUPS: Final = {f"etc/{name}-" for name in ("passwd", "shadow", "group", "gshadow", "subuid", "subgid")}
"""What the tools for users leave of the state before; ours is in none of the files themselves."""

MORE_CONFIG: Final = """
[alarms]
quiet = false
air_on_delay = "0 s"

[[probe]]
id = "ash-water"
topic = "home/ash/water"
measures = "water"
vessel = "ash"
every = "20 min"

[[probe]]
id = "ash-air"
topic = "home/ash/air"
measures = "air"
vessel = "ash"
every = "20 min"

[[lot]]
id = "tin-7"
strain = "great-salt-lake"
label_hatch_percent = 80

[[channel]]
id = "phone"
url = "{url}"
"""


def install(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """On this machine: only what changes nothing."""
    command = ["sh", str(CHECKOUT / "deploy/install.sh"), *arguments]
    environment = os.environ | {"TMPDIR": str(folder)}
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False, env=environment)


def seen() -> dict[str, int]:
    """When each file was changed that an installation might touch."""
    folders = [Path(name) for name in TOUCHED]
    return {str(path): path.lstat().st_mtime_ns for top in folders for path in (top, *top.rglob("*")) if path.exists()}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["--tls"],
            ["system user swimup", "virtual environment", "swimup.conf", "swimup.service", "certificate", "check"],
        ),
        (["--here-only"], ["swimup.toml", "password for the page"]),
        (["--uninstall", "--purge"], ["System packages stay"]),
    ],
)
def test_a_dry_run_tells_and_does_nothing(tmp_path: Path, arguments: list[str], told: list[str]) -> None:
    """It names each thing that it would do, and leaves not even a temporary file."""
    before = seen()
    done = install("--dry-run", *arguments, folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert [word for word in told if word not in done.stdout] == []
    assert not [line for line in done.stdout.splitlines() if line.startswith("- ")]
    assert seen() == before
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments", [["--broker-port", "0"], ["--page-port", "8417; x"], ["--name", 'a" b'], ["--from", "/usr"], ["--frm"]]
)
def test_what_is_not_understood_is_refused(tmp_path: Path, arguments: list[str]) -> None:
    """A wrong option, port, name or tree ends it before anything is done, with a reason or a list of what there is."""
    done = install("--dry-run", *arguments, folder=tmp_path)
    assert done.returncode in (1, 2)
    assert "would:" not in done.stdout
    assert done.stdout or done.stderr


def locked(name: str) -> dict[str, list[str]]:
    """By package, the versions that a lock names; each must come with hashes."""
    versions: dict[str, list[str]] = {}
    text = (CHECKOUT / "deploy" / name).read_text().replace("\\\n", " ")
    for line in text.splitlines():
        pinned = re.match(r"([A-Za-z0-9._-]+)==(\S+)", line)
        assert pinned, f"not pinned: {line}"
        assert "--hash=sha256:" in line, f"without a hash: {line}"
        versions.setdefault(canonicalize_name(pinned[1]), []).append(pinned[2])
    return versions


def test_the_locks_hold_what_the_project_needs() -> None:
    """Each dependency is pinned to versions that the project allows, with hashes, and so is what builds it."""
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())
    needed = [("requirements.lock", text) for text in project["project"]["dependencies"]]
    needed += [("build.lock", text) for text in project["build-system"]["requires"]]
    for lock, text in needed:
        wanted = Requirement(text)
        versions = locked(lock).get(canonicalize_name(wanted.name), [])
        assert versions, f"{lock} lacks {wanted.name}; DEVELOPERS.md says how to make it anew"
        assert all(wanted.specifier.contains(version) for version in versions), f"{lock}: {wanted} is not {versions}"


# -- the whole thing


@contextmanager
def running(tree: DebianTree) -> Iterator[None]:
    """Broker and service as their units start them, by hand, as nothing in a chroot does.

    The shell stays in front: a process that changes its user would no longer end with the one that started it.
    """
    script = (
        "install -d -o mosquitto -g mosquitto /run/mosquitto; mosquitto -c /etc/mosquitto/mosquitto.conf & "
        "setpriv --reuid swimup --regid swimup --clear-groups swimup run --config /etc/swimup/swimup.toml & wait"
    )
    with (tree.path / "srv/services.log").open("ab") as log:
        process = subprocess.Popen(tree.command("sh", "-c", script), stdout=log, stderr=log)
    try:
        yield
    finally:
        process.kill()  # with it goes the whole name space
        process.wait(PATIENCE_S)


def as_keeper(tree: DebianTree, *arguments: str) -> subprocess.CompletedProcess[str]:
    return tree.run("setpriv", "--reuid", "swimup", "--regid", "swimup", "--clear-groups", "swimup", *arguments)


def must(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def without_times(listing: Listing) -> dict[str, tuple[int, int, int, str]]:
    """What a listing says but for times and the backups of the user tools."""
    kept = {name: entry for name, entry in listing.items() if name not in USER_BACKUPS}
    return {name: (mode, user, group, content) for name, (mode, user, group, _, content) in kept.items()}


SUITE: Final = os.environ.get("SWIMUP_SUITE", "bookworm")


@pytest.fixture
def tree(tmp_path: Path) -> DebianTree:
    return DebianTree(tmp_path / "tree", SUITE)


@pytest.fixture
def booted(tmp_path: Path) -> Iterator[Booted]:
    made = Booted(DebianTree(tmp_path / "tree", SUITE, "systemd-sysv", "dbus"))
    yield made
    made.end()


only_when_asked = pytest.mark.skipif(
    os.environ.get("SWIMUP_LONG") != "1",
    reason="takes minutes, and fetches a whole Debian: as root, with debootstrap, systemd-container and the network, "
    "SWIMUP_LONG=1 python -m pytest tests/system/test_install.py -m long (SWIMUP_SUITE=trixie for Debian 13)",
)


@pytest.mark.long
@only_when_asked
def test_a_fresh_debian_gets_a_monitor_that_rings(tree: DebianTree, phone: Phone) -> None:
    """Installed, it is healthy; run again it changes nothing; a probe's reading becomes a push; removed, only data stay."""
    broker, page = quiet_port(), quiet_port()
    must(tree.run("sh", INSTALL, "--only", "packages"))
    bare = tree.listing()

    told = must(tree.run("sh", INSTALL, "--tls", "--broker-port", str(broker), "--page-port", str(page)))
    assert told.count("  ok: ") == 6, told
    assert "shown this once" in told
    enabled = tree.path / "etc/systemd/system/multi-user.target.wants/swimup.service"
    assert enabled.is_symlink()

    installed = tree.listing()
    again = must(tree.run("sh", INSTALL))
    assert again.count("  ok: ") == 6, again
    assert not [line for line in again.splitlines() if line.startswith("- ") or "shown this once" in line]
    assert tree.listing() == installed

    a_reading_becomes_a_push(tree, phone, broker)

    user = (tree.path / "var/lib/swimup").stat().st_uid
    record = tree.path / "var/lib/swimup/home.sqlite3"
    assert user != 0
    must(tree.run("sh", INSTALL, "--uninstall"))
    left = without_times(tree.listing())
    extra = {name for name in left if name not in bare and name != "etc/swimup" and not name.startswith("etc/swimup/")}
    assert extra == set()
    assert {name: left[name] for name in without_times(bare)} == without_times(bare)
    assert record.stat().st_size > 0
    assert (tree.path / "etc/swimup/swimup.toml").is_file()
    assert tree.owned_by(user) == []

    must(tree.run("sh", INSTALL, "--uninstall", "--purge"))
    assert without_times(tree.listing()) == without_times(bare)
    assert not record.parent.exists()


def kept_topics(tree: DebianTree, broker: int) -> list[str]:
    """What the broker retains, as the monitor may see it."""
    secret = (tree.path / "etc/swimup/broker.password").read_text().strip()
    command = ["mosquitto_sub", "-p", str(broker), "-u", "swimup", "-P", secret, "-t", "swimup/#", "-F", "%t"]
    command += ["--retained-only", "-W", "3"]
    told = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False).stdout.split()
    assert "swimup/home/status" in told
    return told


def a_reading_becomes_a_push(tree: DebianTree, phone: Phone, broker: int) -> None:
    """By the way of a real probe: with TLS, its own name and password, to the broker of the tree."""
    shown = must(tree.run("sh", f"{INSIDE}/deploy/add-probe.sh", "ash-probe", "home/ash/water", "home/ash/air"))
    password = re.search(r"^ +password +(\S+)$", shown, re.MULTILINE)
    assert password
    config = tree.path / "etc/swimup/swimup.toml"
    config.write_text(config.read_text() + MORE_CONFIG.format(url=phone.url))
    authority = tree.path / "etc/swimup/tls/ca.pem"
    entrance = ["-h", "127.0.0.1", "-p", str(broker + 7000), "--cafile", str(authority), "-q", "1"]

    def publish(topic: str, payload: str, user: str = "ash-probe") -> bool:
        command = ["mosquitto_pub", *entrance, "-u", user, "-P", password[1], "-t", topic, "-m", payload]
        return subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False).returncode == 0

    with running(tree):
        until(lambda: "connected" in as_keeper(tree, "status", "--json").stdout)
        assert [topic for topic in kept_topics(tree, broker) if "install-check" in topic] == []
        must(as_keeper(tree, "batch", "start", "ash", "--cysts", "2 g", "--lot", "tin-7"))
        until(lambda: publish("home/ash/water", "24.5"))
        assert not publish("home/ash/water", "30", user="birch-probe")
        until(lambda: "24.5" in as_keeper(tree, "status").stdout, as_keeper(tree, "status").stdout)
        publish("home/ash/air", "on")
        until(lambda: "running" in as_keeper(tree, "status").stdout)
        publish("home/ash/air", "off")
        until(lambda: phone.about("Air stopped in ash"), f"only came: {phone.titles}")


@pytest.mark.long
@only_when_asked
def test_a_running_systemd_starts_the_service_and_starts_it_anew_when_it_hangs(booted: Booted) -> None:
    """Fenced in as its unit says it works; run again the script restarts nothing; a process that hangs is replaced."""
    until(lambda: booted.property("multi-user.target", "ActiveState") == "active", "it does not boot", 120)
    broker, page = quiet_port(), quiet_port()
    told = must(booted.run("sh", INSTALL, "--tls", "--broker-port", str(broker), "--page-port", str(page)))
    assert told.count("  ok: ") == 7, told
    process = booted.property("swimup", "MainPID")
    fence = must(booted.run("grep", "-E", "^(Seccomp|NoNewPrivs|CapEff):", f"/proc/{process}/status")).split()
    assert fence == ["CapEff:", "0000000000000000", "NoNewPrivs:", "1", "Seccomp:", "2"]

    again = must(booted.run("sh", INSTALL))
    assert again.count("  ok: ") == 7, again
    assert not [line for line in again.splitlines() if line.startswith("- ")]
    assert booted.property("swimup", "MainPID") == process

    shown = must(booted.run("sh", f"{INSIDE}/deploy/add-probe.sh", "ash-probe", "home/ash/water"))
    password = re.search(r"^ +password +(\S+)$", shown, re.MULTILINE)
    assert password
    entrance = ["-h", "127.0.0.1", "-p", str(broker), "-u", "ash-probe", "-P", password[1], "-q", "1"]
    send = [*entrance, "-t", "home/ash/water", "-m", "24.5"]
    until(lambda: booted.run("mosquitto_pub", *send).returncode == 0, "the broker does not let the new probe in")

    must(booted.run("sh", "-c", f"kill -STOP {process}"))
    until(lambda: booted.property("swimup", "NRestarts") == "1", "the watchdog does nothing", 180)
    until(lambda: booted.property("swimup", "ActiveState") == "active")
    assert booted.property("swimup", "MainPID") != process

    must(booted.run("sh", INSTALL, "--uninstall"))
    assert booted.property("swimup", "LoadState") == "not-found"
    assert booted.property("mosquitto", "ActiveState") == "active"
