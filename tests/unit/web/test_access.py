from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

import pytest
from argon2 import PasswordHasher

from monitor.web import access
from monitor.web.access import Attempts, Gate, ensure_token, write_password
from monitor.web.guard import host_name
from monitor.web.options import WebOptions, WebProblem
from monitor.web.rights import Role

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Literal


@pytest.fixture
def two(tmp_path: Path) -> WebOptions:
    """A keeper's password and a viewer's."""
    keeper, viewer = tmp_path / "page.password", tmp_path / "viewer.password"
    write_password(keeper, "brine shrimp at dawn")
    write_password(viewer, "guests look in here")
    return WebOptions(tmp_path / "state", password_hash_file=keeper, viewer_hash_file=viewer)


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


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can write for others")
def test_what_root_writes_belongs_to_whom_the_folder_belongs(tmp_path: Path) -> None:
    """A password or token made with sudo can be read by the service."""
    os.chown(tmp_path, 1234, 1235)
    write_password(tmp_path / "page.password", "brine shrimp at dawn")
    made = (tmp_path / "page.password").stat()
    assert (made.st_uid, made.st_gid, stat.S_IMODE(made.st_mode)) == (1234, 1235, 0o600)


def test_a_password_opens_and_others_do_not(tmp_path: Path) -> None:
    """Only the hash is kept, and only the password matches it."""
    path = tmp_path / "page.password"
    write_password(path, "brine shrimp at dawn")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert "brine" not in path.read_text()
    assert path.read_text().startswith("$argon2id$")
    gate = Gate(WebOptions(tmp_path, password_hash_file=path))
    assert gate.who("brine shrimp at dawn") is Role.KEEPER
    assert gate.who("brine shrimp at dusk") is None
    assert gate.who("") is None


def test_a_new_password_counts_at_once_and_ends_the_sessions_of_the_old_one(two: WebOptions) -> None:
    """A mark of a session is of one role, one password and one service; the other role's sessions go on."""
    gate = Gate(two)
    keeper, viewer = gate.mark(Role.KEEPER), gate.mark(Role.VIEWER)
    assert (gate.role_of(keeper), gate.role_of(viewer)) == (Role.KEEPER, Role.VIEWER)
    assert Gate(two).role_of(keeper) is Role.KEEPER
    for strange in (None, True, "", "keeper", "keeper.", keeper[:-1], viewer.replace("viewer", "keeper"), "k\u00e9"):
        assert gate.role_of(strange) is None
    assert two.viewer_hash_file is not None
    write_password(two.viewer_hash_file, "guests look at noon")
    assert (gate.role_of(keeper), gate.role_of(viewer)) == (Role.KEEPER, None)
    assert gate.who("guests look at noon") is Role.VIEWER
    two.session_key_file.unlink()
    assert Gate(two).role_of(keeper) is None


@pytest.mark.parametrize("broken", [b"", b"hunter2 in the clear", None])
def test_a_password_file_that_is_damaged_while_it_runs_lets_nobody_in(two: WebOptions, broken: bytes | None) -> None:
    """What cannot be read is no empty password; put back, it counts again."""
    gate, path = Gate(two), two.password_hash_file
    assert path is not None
    kept, mark = path.read_bytes(), gate.mark(Role.KEEPER)
    path.unlink()
    if broken is not None:
        path.write_bytes(broken)
    assert gate.role_of(mark) is None
    assert gate.who("brine shrimp at dawn") is None
    assert gate.who("") is None
    path.write_bytes(kept + b"\n")
    assert gate.role_of(mark) is Role.KEEPER


def test_every_answer_to_a_log_in_costs_the_same_work(two: WebOptions, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever is right or wrong, all passwords are reckoned: how long it takes tells nothing."""
    reckoned: list[int] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> Literal[True]:  # noqa: A002  (the library's)
            reckoned[-1] += 1
            return super().verify(hash, password)

    counting = Counting(time_cost=2, memory_cost=19_456, parallelism=1)
    monkeypatch.setattr(access, "_hasher", lambda: counting)
    gate = Gate(two)
    for offered in (
        "brine shrimp at dawn",
        "guests look in here",
        "brine shrimp at dusk",
        "",
        "x" * 1024,
        "\u00e9\udcff",
    ):
        reckoned.append(0)
        gate.who(offered)
    assert reckoned == [2] * 6


def test_a_viewers_password_without_a_keepers_is_refused(tmp_path: Path) -> None:
    """Else looking would need a password and acting none."""
    with pytest.raises(WebProblem, match=r"web\.password_file"):
        WebOptions(tmp_path, viewer_hash_file=tmp_path / "viewer.password")


def test_a_proxy_in_front_asks_for_a_password_and_makes_the_cookie_secure(tmp_path: Path) -> None:
    """Behind a proxy loopback no longer means the keeper at the machine."""
    with pytest.raises(WebProblem, match=r"web\.proxies"):
        WebOptions(tmp_path, proxies=("127.0.0.1",))
    file = tmp_path / "x"
    behind = WebOptions(tmp_path, password_hash_file=file, proxies=("127.0.0.1",), address="https://shed.home.arpa")
    assert behind.secure
    assert not WebOptions(tmp_path, password_hash_file=file, address="https://localhost:8417").secure


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
        ("[::1].evil.example", ""),
        ("localhost:80:evil.example", ""),
    ],
)
def test_the_name_in_a_host_header_is_found(host: str, name: str) -> None:
    """Port, case and brackets do not matter to who is called."""
    assert host_name(host) == name
