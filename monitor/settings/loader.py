"""From a TOML file to Settings in small steps: read, overlay, fill in dependent defaults, validate, cross-check."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any

from monitor.core.light import light
from monitor.settings.backup import Backup
from monitor.settings.checks import cross_check
from monitor.settings.draft import Draft
from monitor.settings.errors import ConfigError, Problem, join, nearest, quoted, shown
from monitor.settings.food import Food
from monitor.settings.models import Alarms, Broker, Channel, Heartbeat, Lot, Site, Store, Vessel, Web
from monitor.settings.probes import Probe
from monitor.settings.rooms import Rooms
from monitor.settings.series import SeriesServer
from monitor.settings.settings import LISTS, TABLES, Settings
from monitor.settings.stores import ColdStore
from monitor.settings.tomlfile import read_toml

COMMAND_LINE = "the command line"


@light
class Loaded:
    """Settings and, by JSON Pointer, where every value came from that the file did not give."""

    settings: Settings
    given: frozenset[str]  # pointers of the keys in the file
    origins: Mapping[str, str] = field(default_factory=dict)  # pointers of the others, except plain defaults

    def origin(self, pointer: str) -> str:
        """In a few words: the file, the command line, an environment variable, or the default."""
        return self.origins.get(pointer, "this file" if pointer in self.given else "default")


def load(path: Path | str, overlay: Mapping[str, Any] | None = None) -> Settings:
    """Read a configuration file. ``overlay`` (the command line's options) wins; its lists of tables are appended.

    Raises ConfigError with all problems at once.
    """
    return load_all(path, overlay).settings


def load_all(path: Path | str, overlay: Mapping[str, Any] | None = None) -> Loaded:
    """As ``load``, with where each value came from."""
    return from_document(read_toml(Path(path)), file=str(path), base=Path(path).absolute().parent, overlay=overlay)


def from_document(
    document: Mapping[str, Any], *, file: str = "", base: Path | None = None, overlay: Mapping[str, Any] | None = None
) -> Loaded:
    """Settings from a parsed document. ``base`` is the folder to which file names in it are relative."""
    origins: dict[str, str] = {}
    raw = _overlaid(document, overlay or {}, origins)
    draft = Draft(file, base, origins)
    _unknown_tables(draft, raw)
    worked_out = _fill_in(raw)
    _take_all(draft, raw)
    cross_check(draft)
    if draft.problems:
        raise ConfigError(_in_order(draft.problems, raw))
    settings = Settings(
        file=file,
        site=draft.site.value,
        broker=draft.broker.value,
        store=draft.store.value,
        backup=draft.backup.value,
        web=draft.web.value,
        alarms=draft.alarms.value,
        heartbeat=draft.heartbeat.value,
        rooms=draft.rooms.value,
        food=draft.food.value,
        vessels=tuple(part.value for part in draft.vessel),
        probes=tuple(part.value for part in draft.probe),
        lots=tuple(part.value for part in draft.lot),
        cold_stores=tuple(part.value for part in draft.cold_store),
        channels=tuple(part.value for part in draft.channel),
        series_servers=tuple(part.value for part in draft.series_server),
    )
    return Loaded(settings, frozenset(_keys(document)), origins | worked_out)


def _take_all(draft: Draft, raw: Mapping[str, Any]) -> None:
    draft.site = draft.take(Site, raw.get("site", {}), "/site")
    draft.broker = draft.take(Broker, raw.get("broker", {}), "/broker")
    if isinstance(raw.get("store"), list):
        hint = "Where nauplii are kept cold is a [[cold_store]]."
        draft.wrong("/store", "a list of tables", "one table, [store]: the file in which readings are kept", hint)
        draft.store = draft.take(Store, {"path": "store.sqlite3"}, "/store")
    else:
        draft.store = draft.take(Store, raw.get("store", {}), "/store")
    draft.backup = draft.take(Backup, raw.get("backup", {}), "/backup")
    draft.web = draft.take(Web, raw.get("web", {}), "/web")
    draft.alarms = draft.take(Alarms, raw.get("alarms", {}), "/alarms")
    draft.heartbeat = draft.take(Heartbeat, raw.get("heartbeat", {}), "/heartbeat")
    draft.rooms = draft.take(Rooms, raw.get("rooms", {}), "/rooms")
    draft.food = draft.take(Food, raw.get("food", {}), "/food")
    draft.vessel = [draft.take(Vessel, item, place) for place, item in _items(draft, raw, "vessel")]
    draft.probe = [draft.take(Probe, item, place) for place, item in _items(draft, raw, "probe")]
    draft.lot = [draft.take(Lot, item, place) for place, item in _items(draft, raw, "lot")]
    draft.cold_store = [draft.take(ColdStore, item, place) for place, item in _items(draft, raw, "cold_store")]
    draft.channel = [draft.take(Channel, item, place) for place, item in _items(draft, raw, "channel")]
    servers = _items(draft, raw, "series_server")
    draft.series_server = [draft.take(SeriesServer, item, place) for place, item in servers]


def _items(draft: Draft, raw: Mapping[str, Any], name: str) -> list[tuple[str, object]]:
    """The tables of a list with their pointers."""
    value = raw.get(name, [])
    if isinstance(value, list):
        return [(join(name, index), item) for index, item in enumerate(value)]
    hint = f"Double the brackets: [[{name}]]." if isinstance(value, Mapping) else ""
    draft.wrong(join(name), shown(value, secret=True), f"any number of [[{name}]] tables", hint)
    return []


def _unknown_tables(draft: Draft, raw: Mapping[str, Any]) -> None:
    known = (*TABLES, *LISTS)
    options = {key: name for name, kind in (TABLES | LISTS).items() for key in kind.model_fields if key != "id"}
    for key in raw:
        if key in known:
            continue
        hint = f'"{key}" is an option of [{options[key]}].' if key in options else nearest(key, known)
        draft.wrong(join(key), f"the unknown table or option {quoted(key)}", f"the tables {', '.join(known)}", hint)


def _overlaid(document: Mapping[str, Any], overlay: Mapping[str, Any], origins: dict[str, str]) -> dict[str, Any]:
    """The document with the overlay on top; both are left as they were."""
    raw: dict[str, Any] = {
        key: dict(value) if isinstance(value, Mapping) else list(value) if isinstance(value, list) else value
        for key, value in document.items()
    }
    for name, value in overlay.items():
        if isinstance(value, Mapping) and isinstance(raw.get(name, {}), dict):
            raw.setdefault(name, {}).update(value)
            origins.update({join(name, key): COMMAND_LINE for key in value})
        elif isinstance(value, list) and isinstance(raw.get(name, []), list):
            first = len(raw.setdefault(name, []))
            raw[name].extend(value)
            origins.update({join(name, first + index): COMMAND_LINE for index in range(len(value))})
            origins.update(
                {join(name, first + i, key): COMMAND_LINE for i, item in enumerate(value) for key in _table_keys(item)}
            )
        else:
            raw[name] = value
            origins[join(name)] = COMMAND_LINE
    return raw


def _table_keys(item: object) -> Iterable[str]:
    return item if isinstance(item, Mapping) else ()


def state_folder() -> tuple[Path, str]:
    """Where the service keeps its files unless told otherwise, and what decided it."""
    if home := os.environ.get("SWIMUP_HOME"):
        return Path(home).absolute(), "SWIMUP_HOME"
    if state := os.environ.get("XDG_STATE_HOME"):
        return Path(state).absolute() / "swimup", "XDG_STATE_HOME"
    return Path(os.path.expanduser("~")) / ".local/state/swimup", ""  # noqa: PTH111  (Path's raises without a home)


def _fill_in(raw: dict[str, Any]) -> dict[str, str]:
    """Defaults that depend on other options or on the environment; returns where they came from, by pointer."""
    site = raw.get("site", {})
    name = site.get("id") if isinstance(site, dict) else None
    name = name if isinstance(name, str) and re.fullmatch(r"[a-z0-9-]{1,40}", name, re.ASCII) else "site"
    folder, variable = state_folder()
    came: dict[str, str] = {}
    if isinstance(broker := raw.setdefault("broker", {}), dict):
        broker.setdefault("client_id", f"swimup-{name}")
    if isinstance(store := raw.setdefault("store", {}), dict) and "path" not in store:
        store["path"] = str(folder / f"{name}.sqlite3")
        if variable:
            came["/store/path"] = f"environment variable {variable}"
    if isinstance(channels := raw.get("channel"), list):
        raw["channel"] = [_addressed(_named(item, number), name) for number, item in enumerate(channels, 1)]
    return came


def _named(channel: object, number: int) -> object:
    if not isinstance(channel, Mapping) or "id" in channel:
        return channel
    if (kind := channel.get("kind")) in ("webhook", "mqtt", "webpush"):
        return {**channel, "id": f"{kind}-{number}"}
    url = channel.get("url")
    scheme = url.partition("://")[0].casefold() if isinstance(url, str) and "://" in url else "channel"
    # What stands before "://" in a careless paste need not be a scheme.
    return {**channel, "id": f"{scheme if re.fullmatch(r'[a-z][a-z0-9]{0,11}', scheme) else 'channel'}-{number}"}


def _addressed(channel: object, site: str) -> object:
    if not isinstance(channel, Mapping) or channel.get("kind") != "mqtt" or "topic" in channel:
        return channel
    return {**channel, "topic": f"swimup/{site}/push"}


def _keys(document: Mapping[str, Any]) -> list[str]:
    keys = []
    for name, value in document.items():
        tables = enumerate(value) if isinstance(value, list) else [(None, value)]
        for index, table in tables:
            steps = (name,) if index is None else (name, index)
            keys += [join(*steps, key) for key in table] if isinstance(table, Mapping) else [join(*steps)]
    return keys


def _in_order(problems: list[Problem], raw: Mapping[str, Any]) -> list[Problem]:
    """As the document runs; what it lacks comes with its table, and lacking tables last."""
    tables = {name: place for place, name in enumerate(raw)}

    def place(problem: Problem) -> tuple[int, int]:
        name, _, rest = problem.pointer[1:].partition("/")
        index = rest.partition("/")[0]
        return tables.get(name, len(tables)), int(index) if index.isdecimal() and index.isascii() and len(
            index
        ) < 9 else 0

    return sorted(dict.fromkeys(problems), key=place)
