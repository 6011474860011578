"""What can be seen of an installation while no daemon runs: configuration, store, broker, port, machine."""

from __future__ import annotations

import socket
import sqlite3
import time
from contextlib import closing, suppress
from typing import TYPE_CHECKING, Any, Final

from monitor.core.checkup import act, fine, look, worst, worst_first
from monitor.core.checkup_facts import Facts
from monitor.core.checkup_table import findings, rows
from monitor.core.wording import rfc3339
from monitor.intake.ear import Ear, NotHeard
from monitor.intake.link import status_topic
from monitor.service.machine import measure
from monitor.service.versions import versions
from monitor.settings.broker import broker_link
from monitor.settings.credentials import outside_problems
from monitor.settings.errors import ConfigError
from monitor.settings.notices import notices
from monitor.store.errors import StoreError
from monitor.store.past import open_to_read
from monitor.store.schema import MIGRATIONS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.core.checkup import Finding
    from monitor.intake.link import Link
    from monitor.settings.settings import Settings

LISTEN_S: Final = 0.5
"""What a broker keeps it sends at once."""
NAME_TOPIC: Final = "$SYS/broker/version"
LONGEST_NAME: Final = 60


def _now() -> int:
    return time.time_ns() // 1_000_000


def broken_configuration(error: ConfigError) -> dict[str, Any]:
    """Nothing else can be looked at while it cannot be read."""
    found = [_wrong(str(problem)) for problem in error.problems]
    return _with({"now": rfc3339(_now()), "facts": []}, found)


def _wrong(problem: str) -> Finding:
    return act("configuration", problem, "The daemon does not start with it.", "Mend it, then see: `swimup check`.")


def _with(told: dict[str, Any], found: list[Finding]) -> dict[str, Any]:
    ordered = worst_first(found)
    return {**told, "level": worst(ordered).value, "findings": [one.document() for one in ordered]}


def look_from_outside(settings: Settings, silent: str) -> dict[str, Any]:
    """``silent``: how the daemon did not answer."""
    facts = Facts(versions(), measure(str(_place(settings.store.path))), None, settings.site.timezone)
    found = [
        act(
            "daemon",
            f"{silent.rstrip('.')}.",
            "Nothing is watched meanwhile.",
            "Where systemd runs it: `systemctl status swimup`, and `journalctl -u swimup` for its last words.",
        ),
        *_configuration(settings),
        *store(settings),
        port(settings),
        broker(settings),
        *findings(facts),
    ]
    return _with({"now": rfc3339(_now()), "facts": [row.document() for row in rows(facts)]}, found)


def _place(path: Path) -> Path:
    """Where the store will lie, as far as there is such a folder yet."""
    folder = next((folder for folder in path.absolute().parents if folder.is_dir()), path.parent)
    return folder / path.name


def _configuration(settings: Settings) -> Iterator[Finding]:
    problems = outside_problems(settings)
    for problem in problems:
        yield _wrong(str(problem))
    for notice in notices(settings):
        yield look("configuration", notice, "", "See config/swimup.example.toml, which explains every option.")
    if not problems:
        yield fine("configuration", f"{settings.file} is sound.")


def store(settings: Settings) -> Iterator[Finding]:
    """Whether it can be read. Not every page of it: that would take minutes after some years."""
    path = settings.store.path
    if not path.exists():
        yield fine("store", f"There is no store at {path} yet; the first start makes it.")
        return
    try:
        with closing(open_to_read(path)) as connection:
            (found,) = connection.execute("PRAGMA user_version").fetchone()
    except (StoreError, sqlite3.Error, OSError) as error:
        yield act(
            "store",
            f"The store at {path} cannot be read: {error}.",
            "The daemon does not start with it.",
            "If another user owns it, run this as that user. If it is damaged, bring back a backup.",
        )
        return
    known = MIGRATIONS[-1].number
    if found > known:
        yield act(
            "store",
            f"The store has schema {found}; this version knows schemas up to {known}.",
            "The daemon does not start with it.",
            "Install the version that wrote it, or a newer one.",
        )
    else:
        yield fine("store", f"The store at {path} can be read.")


def port(settings: Settings) -> Finding:
    """Whether the page could be served."""
    host, number = settings.web.host, settings.web.port
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.socket(family) as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trial.bind((host, number))
    except OSError as error:
        return act(
            "port",
            f"The page's port {number} at {host} can't be had: {error.strerror or error}.",
            "The daemon does not start without it.",
            "End what uses it (`ss -ltnp` tells), or give another one: `port` of `[web]`.",
        )
    return fine("port", f"The page's port {number} is free.")


def broker(settings: Settings) -> Finding:
    """Whether it lets us in and listen to our topics; under another client id, so that nobody's session is disturbed."""
    url = settings.broker.url
    topics = sorted({binding.topic for binding in settings.bindings()}) or [status_topic(settings.site.id)]
    try:
        link = broker_link(settings)
        _hear(link, topics)
    except (NotHeard, ConfigError, ValueError) as why:
        return act(
            "broker",
            f"The broker at {url} can't be listened to: {str(why).rstrip('.')}.",
            "No reading would come in.",
            "See that it runs (`systemctl status mosquitto`), and that `[broker]` url, user and password are right.",
        )
    name = _name(link)
    return fine("broker", f"The broker at {url} lets us in.{f' It calls itself {name}.' if name else ''}")


def _hear(link: Link, topics: list[str]) -> Ear:
    """Raises NotHeard."""
    ear = Ear(link, topics, _now)
    ear.listen(LISTEN_S, lambda _passed: None)
    return ear


def _name(link: Link) -> str:
    """Not every broker tells its name, nor everybody."""
    with suppress(NotHeard, LookupError):
        return _hear(link, [NAME_TOPIC]).topics[NAME_TOPIC].newest.payload[:LONGEST_NAME].decode("utf-8", "replace")
    return ""
