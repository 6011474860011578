"""The places in the messages of one topic at which a value may stand, whatever shape the messages have."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

from monitor.core.light import light
from monitor.intake import document, hints, senml
from monitor.intake.decode import LARGEST
from monitor.intake.unreadable import Unreadable
from monitor.intake.values import number_from_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.core.model import Ms
    from monitor.intake.binding import Decoder
    from monitor.intake.hints import Level

DEEPEST: Final = 6
MOST: Final = 100
"""Places looked at; a message of more is no probe's."""
SHORT: Final = 40
Scalar = float | bool | str


class Heard(NamedTuple):
    """One message. ``arrived`` by the clock of whoever listened."""

    payload: bytes
    arrived: Ms
    retained: bool = False


@light
class Place:
    """Where a value stands, and what is written around it, the most telling first."""

    decoder: Decoder
    found: tuple[Scalar, ...]  # one for each message, in their order
    levels: tuple[Level, ...] = ()
    pointer: str = ""
    name: str = ""  # senml
    unit: str = ""  # told by the message, as it is written there
    listed: bool = False  # it is found by its place in a list
    humid: bool = False  # humidity stands beside it: a sensor in the air

    @property
    def numeric(self) -> bool:
        return all(_number(one) is not None for one in self.found)

    @property
    def numbers(self) -> tuple[float, ...]:
        return tuple(number for one in self.found if (number := _number(one)) is not None)


def _number(found: Scalar) -> float | None:
    if isinstance(found, bool):
        return None
    if isinstance(found, str):
        try:
            return number_from_text(found)
        except Unreadable:
            return None
    return float(found) if abs(found) <= 1e9 else None


def places(heard: Sequence[Heard]) -> list[Place]:
    """In the order of the newest message; only those that all messages have.

    Raises :class:`Unreadable` with the reason when the newest message has a shape that no decoder takes.
    """
    newest = heard[-1].payload
    if len(newest) > LARGEST:
        raise Unreadable(f"{len(newest)} bytes; a reading has at most {LARGEST}", "oversize")
    try:
        parsed = document.parse(newest)
    except Unreadable as refused:
        return [_bare(heard, refused)]
    if isinstance(parsed, list) and _is_pack(parsed):
        return _of_packs(heard)
    if isinstance(parsed, dict | list):
        return _of_documents(heard, parsed)
    if isinstance(parsed, str):  # a text in quotes
        return _of_documents(heard, parsed)
    return [_bare(heard, Unreadable("it says null, which is no value", "empty"))]


def _bare(heard: Sequence[Heard], refused: Unreadable) -> Place:
    """The message as a whole: a number, or a word."""
    texts = []
    for one in heard:
        try:
            text = one.payload.decode().strip(" \t\r\n")
        except UnicodeDecodeError:
            raise Unreadable("not text in UTF-8", "encoding") from None
        if not text or len(text) > SHORT or text == "null":
            raise Unreadable("an empty message", "empty") if not text else refused
        texts.append(text)
    if not all(_is_word(text) or _number(text) is not None for text in texts):
        number_from_text(texts[-1])  # says best what is wrong with it
        raise refused
    return Place("number", tuple(texts))


def _is_word(text: str) -> bool:
    return text.isalpha() and len(text) <= SHORT


# -- JSON


def _of_documents(heard: Sequence[Heard], newest: Any) -> list[Place]:
    documents = []
    for one in heard:
        try:
            documents.append(document.parse(one.payload))
        except Unreadable:
            raise Unreadable("some of its messages are JSON and some are not", "syntax") from None
    found = []
    for at in _walk(newest, _Spot()):
        values = [_at(one, at.pointer) for one in documents]
        if all(isinstance(value, float | int | str) for value in values):
            found.append(Place("json", tuple(values), at.levels, at.pointer, "", at.unit, at.listed, at.humid))
        if len(found) >= MOST:
            break
    return found


def _at(parsed: Any, pointer: str) -> Any:
    try:
        return document.at(parsed, pointer)
    except Unreadable:
        return None


class _Spot(NamedTuple):
    """A node of a document, and what is written around it."""

    pointer: str = ""
    levels: tuple[Level, ...] = ()
    unit: str = ""
    listed: bool = False
    humid: bool = False
    depth: int = 0


def _walk(node: Any, at: _Spot) -> Iterator[_Spot]:
    """Where each scalar stands."""
    if not isinstance(node, dict | list):
        yield at
        return
    if at.depth >= DEEPEST:
        return
    if isinstance(node, list):
        for index, inner in enumerate(node[:MOST]):
            yield from _walk(inner, at._replace(pointer=f"{at.pointer}/{index}", listed=True, depth=at.depth + 1))
        return
    names, unit, humid = _around(node)
    for key, inner in node.items():
        if isinstance(inner, str) and key.casefold() in (*hints.NAMES, *hints.UNITS):
            continue  # it speaks of the values beside it
        if not key.isprintable() or len(key) > hints.LONGEST:
            continue
        pointer = f"{at.pointer}/{key.replace('~', '~0').replace('/', '~1')}"
        levels = (hints.level(key), *names, *at.levels)
        yield from _walk(inner, _Spot(pointer, levels, unit or at.unit, at.listed, humid or at.humid, at.depth + 1))


def _around(node: dict[str, Any]) -> tuple[tuple[Level, ...], str, bool]:
    """What an object says of its values: a name, a unit, and whether humidity is among them."""
    folded = {key.casefold(): value for key, value in node.items()}
    names = tuple(hints.level(folded[key]) for key in hints.NAMES if _short(folded.get(key)))
    told = next((folded[key] for key in hints.UNITS if _short(folded.get(key))), "")
    humid = any({"humidity", "hum", "rh"} & set(hints.words_of(key)) for key in node)
    return names, told, humid


def _short(value: Any) -> bool:
    return isinstance(value, str) and 0 < len(value) <= SHORT and value.isprintable()


# -- SenML


def _is_pack(parsed: list[Any]) -> bool:
    fields = {"n", "bn", "u", "bu"}
    return bool(parsed) and all(isinstance(one, dict) for one in parsed) and any(fields & one.keys() for one in parsed)


def _of_packs(heard: Sequence[Heard]) -> list[Place]:
    packs = [senml.resolved(one.payload) for one in heard]
    found = []
    for name in dict.fromkeys(record.name for record in packs[-1] if record.value is not None):
        told = [[one for one in pack if one.name == name and one.value is not None] for pack in packs]
        if not all(told) or not name.isprintable() or len(name) > hints.LONGEST:
            continue
        values = tuple(one[-1].value for one in told if one[-1].value is not None)
        levels = tuple(hints.level(step) for step in reversed(name.replace("/", ":").split(":")) if step)
        found.append(Place("senml", values, levels[:8], name=name, unit=told[-1][-1].unit))
    return found[:MOST]
