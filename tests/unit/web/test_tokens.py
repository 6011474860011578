from __future__ import annotations

import json
import stat
import threading
from typing import TYPE_CHECKING

import pytest

from monitor.web.access import Gate, ensure_token
from monitor.web.options import WebOptions, WebProblem
from monitor.web.rights import EVERYTHING, Scope
from monitor.web.tokens import MOST, add_token, read_tokens, revoke_token, scopes_of

if TYPE_CHECKING:
    from pathlib import Path

NOW = 1_772_413_800_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state" / "tokens.json"


def test_a_token_is_kept_as_a_hash_that_its_owner_alone_reads(path: Path) -> None:
    """Whoever finds the file finds no token in it."""
    secret = add_token(path, "wall-button", [Scope.LOG], NOW)
    assert secret.startswith("swimup_")
    assert len(secret) > 40
    assert secret not in path.read_text()
    assert secret.removeprefix("swimup_") not in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    (kept,) = read_tokens(path)
    assert (kept.name, kept.scopes, kept.made) == ("wall-button", frozenset({Scope.LOG}), NOW)
    assert scopes_of(secret, [kept]) == frozenset({Scope.LOG})
    for strange in ("", secret[:-1], secret + "x", kept.sha256, "\udcff"):
        assert scopes_of(strange, [kept]) is None


def test_a_running_gate_heeds_what_is_added_and_revoked_at_once(tmp_path: Path) -> None:
    """A token that was lost is worth nothing from the moment it is revoked, with no restart."""
    options = WebOptions(tmp_path)
    gate = Gate(options)
    one = add_token(options.tokens_file, "one", [Scope.READ], NOW)
    two = add_token(options.tokens_file, "two", [Scope.ALARM, Scope.READ], NOW)
    both = frozenset({Scope.READ, Scope.ALARM})
    assert (gate.scopes(one), gate.scopes(two)) == (frozenset({Scope.READ}), both)
    revoke_token(options.tokens_file, "one")
    assert (gate.scopes(one), gate.scopes(two)) == (None, both)
    assert gate.scopes(ensure_token(options.token_file)) == EVERYTHING


@pytest.mark.parametrize("name", ["", "Wall", "a b", "../x", "-a", "x" * 33, "ä", "a\n"])
def test_a_strange_name_is_refused_with_what_is_allowed(path: Path, name: str) -> None:
    """A name is a word that stands in a list and a command."""
    with pytest.raises(WebProblem, match="small letters"):
        add_token(path, name, [Scope.READ], NOW)
    assert not path.exists()


def test_no_name_twice_no_token_that_may_nothing_no_end_of_them(path: Path) -> None:
    """Each refusal says what to do and leaves the file as it was."""
    with pytest.raises(WebProblem, match="could do nothing"):
        add_token(path, "idle", [], NOW)
    for number in range(MOST):
        add_token(path, f"one-{number}", [Scope.READ], NOW)
    before = path.read_bytes()
    with pytest.raises(WebProblem, match="already"):
        add_token(path, "one-1", [Scope.READ], NOW)
    with pytest.raises(WebProblem, match="Revoke those"):
        add_token(path, "more", [Scope.READ], NOW)
    with pytest.raises(WebProblem, match="there are: one-0, one-1"):
        revoke_token(path, "other")
    assert path.read_bytes() == before


def test_two_who_add_at_the_same_time_lose_nothing(path: Path) -> None:
    """Each of them finds its token in the file."""
    adders = [
        threading.Thread(target=add_token, args=(path, f"one-{number}", [Scope.READ], NOW)) for number in range(12)
    ]
    for adder in adders:
        adder.start()
    for adder in adders:
        adder.join(10)
    assert {token.name for token in read_tokens(path)} == {f"one-{number}" for number in range(12)}


@pytest.mark.parametrize(
    "content",
    [
        "",
        "[]",
        "{}",
        '{"tokens": 1}',
        '{"tokens": [{}]}',
        json.dumps({"tokens": [{"name": "a", "scopes": ["all"], "made": "2026-03-02T01:10:00Z", "sha256": "0" * 64}]}),
        json.dumps({"tokens": [{"name": "a", "scopes": ["read"], "made": "2026-03-02T01:10:00Z", "sha256": ""}]}),
        json.dumps({"tokens": [{"name": "a", "scopes": ["read"], "made": "today", "sha256": "0" * 64}]}),
    ],
)
def test_a_damaged_file_opens_nothing(tmp_path: Path, content: str) -> None:
    """The page goes on, no token of the file counts, and the command says so."""
    options = WebOptions(tmp_path)
    options.tokens_file.write_text(content)
    with pytest.raises(WebProblem, match="swimup token"):
        read_tokens(options.tokens_file)
    assert Gate(options).scopes("") is None
    assert Gate(options).scopes("0" * 64) is None
