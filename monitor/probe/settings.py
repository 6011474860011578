"""The small configuration of a board: who it is, where the broker is, what is wired to it."""

from __future__ import annotations

import os
import re
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from monitor.settings.base import Section, option
from monitor.settings.draft import Draft, Part
from monitor.settings.errors import ConfigError, join, nearest, quoted, shown
from monitor.settings.forms import Choice, Duration, Flag, Number, Text
from monitor.settings.names import BrokerUrl, FileName, Identifier, Topic
from monitor.settings.tomlfile import read_toml

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

SECOND, MINUTE, HOUR, DAY = 1_000, 60_000, 3_600_000, 86_400_000

EVERY = Duration(100, 1 * HOUR)
DEVICE = Text('a device of the 1-Wire bus such as "28-0316a2798fff"', r"(10|22|28|3b|42)-[0-9a-f]{12}")
ADC_DEVICE = Text('a converter as "swimup probe --list" shows it, such as "ads1015"', r"[A-Za-z0-9_.:-]+", longest=60)
CHANNEL = Text('a channel as "swimup probe --list" shows it, such as "voltage0"', r"voltage[0-9]+(-voltage[0-9]+)?")


class Board(Section):
    """The board itself."""

    id: Annotated[str, Identifier()] = option(
        "Short name of the board, another one for each: with it the broker knows it.", example="zero-1"
    )
    topic: Annotated[str, Topic()] = option(
        "Each sensor publishes on this topic, a slash and its id; the board says there whether it is online.",
        example="shed/zero-1",
    )
    keep: Annotated[int, Duration(1 * MINUTE, 7 * DAY)] = option(
        "Readings of this last time are kept in memory while the broker is away.", default=12 * HOUR
    )
    trust_clock: Annotated[bool, Flag()] = option(
        "Whether the board's clock is right although nothing sets it over the network: it has a clock chip.",
        default=False,
    )
    count_file: Annotated[Path, FileName()] = option(
        "Where the count of readings goes on from after a restart. Written every ten thousand readings.",
        told="the folder systemd gives, else ~/.local/state/swimup",
        example="/var/lib/swimup-probe/zero-1.count",
    )


class Broker(Section):
    """The broker it publishes to."""

    url: Annotated[str, BrokerUrl()] = option(
        "Where the broker is: mqtt://host:port, or mqtts://host:port with TLS.", example="mqtt://shed.home.arpa:1883"
    )
    user: Annotated[str | None, Text("one line of text")] = option("Name to log in with.", default=None)
    password_file: Annotated[Path | None, FileName(secret=True)] = option(
        "File whose first line is the password.", default=None
    )
    ca_file: Annotated[Path | None, FileName()] = option(
        "Authority that signed the broker's certificate.", default=None
    )
    cert_file: Annotated[Path | None, FileName()] = option("Client certificate, where one is asked for.", default=None)
    key_file: Annotated[Path | None, FileName()] = option("Key of the client certificate.", default=None)
    version: Annotated[Literal["5", "3.1.1"], Choice(("5", "3.1.1"))] = option("MQTT version.", default="5")
    keepalive: Annotated[int, Duration(5 * SECOND, 1 * HOUR)] = option(
        "Half as long again without a word, and the broker says that the board is offline.", default=30 * SECOND
    )


class OneWire(Section):
    """A thermometer on the 1-Wire bus."""

    id: Annotated[str, Identifier()] = option("Short name; the last level of its topic.", example="ash-water")
    device: Annotated[str, DEVICE] = option("Its number, burnt in when it was made.", example="28-0316a2798fff")
    every: Annotated[int, EVERY] = option("How often it is read.", default=10 * SECOND)


class Pin(Section):
    """Something that closes, opens or ticks: a relay over the pump's supply, a flow switch, a vibration switch."""

    id: Annotated[str, Identifier()] = option("Short name; the last level of its topic.", example="ash-air")
    pin: Annotated[int, Number(0, 63, whole=True)] = option("GPIO number (not the place on the header).", example=17)
    every: Annotated[int, EVERY] = option("How often it is told.", default=10 * SECOND)
    pull: Annotated[Literal["up", "down", "none"], Choice(("up", "down", "none"))] = option(
        'What holds the pin when nothing drives it: "up" for a contact to ground.', default="up"
    )
    running: Annotated[Literal["low", "high"], Choice(("low", "high"))] = option(
        "The level that means running; a contact to ground pulls it low. A pulse is a change to that level.",
        default="low",
    )
    pulses: Annotated[bool, Flag()] = option("Tell how many pulses were counted, instead of the level.", default=False)
    bounce: Annotated[int, Duration(0, 1 * SECOND)] = option(
        "A contact chatters: changes within this time of one are that one.", default=0
    )


class Adc(Section):
    """A voltage: of a pressure sensor in the air line, or of a current clamp around the pump's lead."""

    id: Annotated[str, Identifier()] = option("Short name; the last level of its topic.", example="birch-air")
    device: Annotated[str, ADC_DEVICE] = option("Name or number of the converter.", example="ads1015")
    channel: Annotated[str, CHANNEL] = option("Which of its inputs.", example="voltage0")
    every: Annotated[int, EVERY] = option("How often it is told.", default=10 * SECOND)
    samples: Annotated[int, Number(1, 1000, whole=True)] = option("Looks that make one reading.", default=8)
    swing: Annotated[bool, Flag()] = option(
        "Tell how far it swings about its mean (root mean square), as a clamp around a lead of alternating current "
        "does, instead of the mean. Take 100 samples or more.",
        default=False,
    )
    factor: Annotated[float, Number(-1e6, 1e6)] = option("Units a volt, from the sensor's data sheet.", default=1.0)
    shift: Annotated[float, Number(-1e6, 1e6)] = option(
        "Added after that: the sensor's reading at no volts.", default=0.0
    )
    least: Annotated[float | None, Number(-100, 100)] = option(
        "Fewer volts at any look are a broken wire, not a reading.", default=None, example=0.25
    )
    most: Annotated[float | None, Number(-100, 100)] = option(
        "More volts at any look are a short, not a reading.", default=None, example=4.75
    )


Sensor = OneWire | Pin | Adc
TABLES: dict[str, type[Section]] = {"board": Board, "broker": Broker}
LISTS: dict[str, type[OneWire | Pin | Adc]] = {"one_wire": OneWire, "pin": Pin, "adc": Adc}


@dataclass(frozen=True)
class BoardSettings:
    """All of it, checked."""

    board: Board
    broker: Broker
    one_wire: tuple[OneWire, ...]
    pin: tuple[Pin, ...]
    adc: tuple[Adc, ...]

    @property
    def sensors(self) -> tuple[Sensor, ...]:
        return (*self.one_wire, *self.pin, *self.adc)

    def topic(self, sensor: Sensor) -> str:
        return f"{self.board.topic}/{sensor.id}"


def load(path: Path) -> BoardSettings:
    """The settings in a file; raises ConfigError with all problems at once."""
    return from_document(read_toml(path), str(path), path.absolute().parent)


def from_document(document: Mapping[str, Any], file: str = "", base: Path | None = None) -> BoardSettings:
    draft = Draft(file, base)
    for key in document:
        if key not in TABLES | LISTS:
            known = (*TABLES, *LISTS)
            draft.wrong(join(key), f"the unknown table or option {quoted(key)}", ", ".join(known), nearest(key, known))
    board = draft.take(Board, _with_count_file(document.get("board", {})), "/board")
    broker = draft.take(Broker, document.get("broker", {}), "/broker")
    parts = {
        name: [draft.take(kind, item, place) for place, item in _items(draft, document, name)]
        for name, kind in LISTS.items()
    }
    _cross_check(draft, document, parts)
    if draft.problems:
        raise ConfigError(draft.problems)
    found = {name: tuple(part.value for part in list_) for name, list_ in parts.items()}
    return BoardSettings(board.value, broker.value, **found)  # type: ignore[arg-type]


def _with_count_file(board: object) -> object:
    if not isinstance(board, dict) or "count_file" in board:
        return board
    given = os.environ.get("STATE_DIRECTORY", "").partition(":")[0]
    folder = Path(given) if given else Path(os.path.expanduser("~")) / ".local/state/swimup"  # noqa: PTH111
    name = board.get("id")
    sound = isinstance(name, str) and re.fullmatch(r"[a-z0-9-]{1,40}", name)
    return {**board, "count_file": str(folder / f"{name if sound else 'board'}.count")}


def _items(draft: Draft, document: Mapping[str, Any], name: str) -> Iterator[tuple[str, object]]:
    value = document.get(name, [])
    if not isinstance(value, list):
        draft.wrong(join(name), shown(value, secret=True), f"any number of [[{name}]] tables", "Double the brackets.")
        return
    for index, item in enumerate(value):
        yield join(name, index), item


def _cross_check(draft: Draft, document: Mapping[str, Any], parts: Mapping[str, list[Part[Any]]]) -> None:
    flat = [part for some in parts.values() for part in some]
    if not any(document.get(name) for name in LISTS):
        draft.wrong(
            "",
            "no sensor",
            "at least one [[one_wire]], [[pin]] or [[adc]]",
            '"swimup probe --list" shows what there is.',
        )
    _twice(draft, flat, "id", "an id of its own")
    _twice(draft, parts["one_wire"], "device", "a device of its own")
    _twice(draft, parts["pin"], "pin", "a pin of its own")
    for part in flat:
        if part.sound("id") and part.value.id == "online":
            draft.wrong_in(part, "id", '"online"', "another id: on that topic the board says whether it is online")
    for part in parts["adc"]:
        low, high = (part.value.least, part.value.most) if part.sound("least", "most") else (None, None)
        if low is not None and high is not None and low >= high:
            draft.wrong_in(part, "least", str(low), f"less than most, which is {high}")
        if part.sound("swing", "samples") and part.value.swing and part.value.samples < 20:
            draft.wrong_in(part, "samples", str(part.value.samples), "20 or more with swing = true")


def _twice(draft: Draft, parts: list[Part[Any]], key: str, allowed: str) -> None:
    seen: dict[object, list[Part[Any]]] = defaultdict(list)
    for part in parts:
        if part.sound(key):
            seen[getattr(part.value, key)].append(part)
    for value, (first, *others) in seen.items():
        for part in others:
            also = quoted(value) if isinstance(value, str) else str(value)
            draft.wrong_in(
                part, key, f"{also} a second time", f"{allowed}; {first.about or first.pointer} has this one"
            )
