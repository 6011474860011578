from __future__ import annotations

import stat
from typing import TYPE_CHECKING

import pytest

from monitor.web.access import Attempts, Gate, ensure_token, write_password
from monitor.web.guard import host_name
from monitor.web.options import WebOptions, WebProblem

if TYPE_CHECKING:
    from pathlib import Path


def test_the_token_is_made_once_and_readable_by_its_owner_only(tmp_path: Path) -> None:
    """The command line's token stays the same over restarts and is nobody else's."""
    path = tmp_path / "state" / "cli.token"
    token = ensure_token(path)
    assert len(token) >= 32
    assert ensure_token(path) == token
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    ensure_token(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_token_file_of_zeros_or_nothing_is_made_anew(tmp_path: Path) -> None:
    """A power cut that emptied the file does not lock the keeper out or let the empty token in."""
    path = tmp_path / "cli.token"
    path.write_bytes(b"")
    assert len(ensure_token(path)) >= 32


def test_a_password_opens_and_others_do_not(tmp_path: Path) -> None:
    """Only the hash is kept, and only the password matches it."""
    path = tmp_path / "page.password"
    write_password(path, "brine shrimp at dawn")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert "brine" not in path.read_text()
    assert path.read_text().startswith("$argon2id$")
    gate = Gate(WebOptions(tmp_path, password_hash_file=path))
    assert gate.knows_password("brine shrimp at dawn")
    assert not gate.knows_password("brine shrimp at dusk")
    assert not gate.knows_password("")


def test_a_new_password_ends_every_session(tmp_path: Path) -> None:
    """The key that signs sessions changes with the password, and only with it."""
    path = tmp_path / "page.password"
    options = WebOptions(tmp_path, password_hash_file=path)
    write_password(path, "brine shrimp at dawn")
    first = Gate(options).session_key
    assert Gate(options).session_key == first
    write_password(path, "brine shrimp at dusk")
    assert Gate(options).session_key != first


@pytest.mark.parametrize("content", [b"", b"hunter2 in the clear", b"\xff\xfe"])
def test_a_file_that_holds_no_hash_is_refused_at_the_start(tmp_path: Path, content: bytes) -> None:
    """A page is never served with a lock that does not work."""
    path = tmp_path / "page.password"
    path.write_bytes(content)
    with pytest.raises(WebProblem, match="swimup password"):
        Gate(WebOptions(tmp_path, password_hash_file=path))


def test_short_passwords_are_refused_and_leave_the_old_one(tmp_path: Path) -> None:
    """A refused password changes nothing."""
    path = tmp_path / "page.password"
    write_password(path, "brine shrimp at dawn")
    before = path.read_bytes()
    with pytest.raises(WebProblem, match="at least 10"):
        write_password(path, "short")
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["page.password"]


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.20", "::", "shed.home.arpa"])  # noqa: S104
def test_beyond_this_machine_the_page_needs_password_and_tls(tmp_path: Path, host: str) -> None:
    """Nobody opens the bench to the network by accident."""
    file = tmp_path / "x"
    with pytest.raises(WebProblem, match=r"password .* and a certificate"):
        WebOptions(tmp_path, host=host)
    with pytest.raises(WebProblem, match="certificate"):
        WebOptions(tmp_path, host=host, password_hash_file=file)
    with pytest.raises(WebProblem, match="password"):
        WebOptions(tmp_path, host=host, cert_file=file, key_file=file)
    assert WebOptions(tmp_path, host=host, password_hash_file=file, cert_file=file, key_file=file).exposed


@pytest.mark.parametrize("host", ["127.0.0.1", "127.9.9.9", "::1", "localhost"])
def test_on_this_machine_it_needs_neither(tmp_path: Path, host: str) -> None:
    """A keeper at the machine itself just opens the page."""
    options = WebOptions(tmp_path, host=host)
    assert not options.exposed
    assert not options.login_needed


def test_half_a_pair_of_tls_files_and_a_name_from_outside_are_refused(tmp_path: Path) -> None:
    """A name that others reach the page by asks for a password even on loopback."""
    with pytest.raises(WebProblem, match=r"web\.key_file"):
        WebOptions(tmp_path, cert_file=tmp_path / "x")
    with pytest.raises(WebProblem, match=r"shed\.home\.arpa"):
        WebOptions(tmp_path, hostnames=("shed.home.arpa",))


def test_wrong_passwords_are_held_back_per_caller_and_age_out() -> None:
    """Five misses and the sixth waits; another caller does not."""
    now = 0.0
    attempts = Attempts(lambda: now, limit=5, window=300)
    for _ in range(5):
        assert attempts.wait("a") == 0
        attempts.failed("a")
    assert attempts.wait("a") == 300
    assert attempts.wait("b") == 0
    now = 299.0
    assert attempts.wait("a") == 1
    now = 301.0
    assert attempts.wait("a") == 0
    attempts.succeeded("a")


def test_a_crowd_of_callers_cannot_make_the_memory_grow() -> None:
    """Only the newest thousand are remembered."""
    attempts = Attempts(lambda: 0.0)
    for number in range(3000):
        attempts.failed(str(number))
    assert len(attempts._failed) == 1024


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("localhost:8417", "localhost"),
        ("LOCALHOST", "localhost"),
        ("[::1]:8417", "::1"),
        ("127.0.0.1", "127.0.0.1"),
        ("evil.example.", "evil.example"),
        ("", ""),
    ],
)
def test_the_name_in_a_host_header_is_found(host: str, name: str) -> None:
    """Port, case and brackets do not matter to who is called."""
    assert host_name(host) == name
