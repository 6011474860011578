"""A binding that is proposed to a keeper: what it would say, why, what is to be checked, and what only a person knows."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

ORDER: Final = (
    *("id", "topic", "decoder", "pointer", "time_pointer", "sequence_pointer", "name"),
    *("measures", "vessel", "store", "unit", "every", "threshold", "deadband", "pulses", "words_on", "words_off"),
)
ASKED_OF: Final = {"vessel": ("water", "air"), "store": ("store", "air"), "threshold": ("air",)}
"""Options that only some of what is measured has."""


@light
class Known:
    """What the configuration has already."""

    site: str = ""
    vessels: tuple[str, ...] = ()
    stores: tuple[str, ...] = ()


@light
class Part:
    """One option: its value, and why it is that. ``check`` says what is uncertain about it; empty when nothing is."""

    value: Any
    why: str = ""
    check: str = ""


@light
class Question:
    """What was not decided, because a wrong guess would be worse than none. Without choices any number above 0 will do."""

    key: str
    choices: tuple[str, ...]
    why: str


@light
class Proposal:
    """One probe. Complete when ``questions`` is empty, or with an answer for each of them."""

    topic: str
    parts: Mapping[str, Part]
    questions: tuple[Question, ...] = ()
    newest: str = ""  # the newest value, as it would be read
    evidence: int = 0  # how many hints agree; ranks what is otherwise alike

    @property
    def decided(self) -> bool:
        return not self.questions

    @property
    def rank(self) -> tuple[int, int, int]:
        """Smaller is better."""
        return len(self.questions), sum(bool(part.check) for part in self.parts.values()), -self.evidence

    def open_with(self, answers: Mapping[str, Any]) -> Question | None:
        """The next question when these are answered: who says water must also say of which vessel."""
        measures = answers.get("measures", self._value("measures"))
        for question in self.questions:
            if question.key not in answers and (
                measures is None or measures in ASKED_OF.get(question.key, (measures,))
            ):
                return question
        return None

    def options(self, taken: Collection[str] = (), answers: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The table as it would stand in the configuration, with an id that is not ``taken`` yet."""
        answers = answers or {}
        said = {key: part.value for key, part in self.parts.items()} | dict(answers)
        measures = said.get("measures")
        for key, of in ASKED_OF.items():
            if measures is not None and measures not in of:
                said.pop(key, None)
        if measures == "air" and "measures" in answers:
            said.pop("unit", None)  # it was guessed for a temperature
        said["id"] = _free(_id(said), taken)
        return {key: said[key] for key in ORDER if key in said}

    def _value(self, key: str) -> Any:
        return self.parts[key].value if key in self.parts else None


def _id(said: Mapping[str, Any]) -> str:
    """``ash-water`` where that is what it is; otherwise the topic's own words."""
    measures, vessel, store = said.get("measures"), said.get("vessel"), said.get("store")
    if vessel and measures:
        return f"{vessel[:30]}-{measures}"
    if measures == "store":
        return f"{store[:30]}-cold" if store else "store"
    if measures == "air" and store:
        return f"{store[:30]}-air"
    if measures == "room":
        return "room"
    steps = said["topic"].rsplit("/", 2)[-2:]
    return re.sub(r"[^a-z0-9]+", "-", "-".join(steps).casefold()).strip("-")[:36] or "probe"


def _free(wanted: str, taken: Collection[str]) -> str:
    if wanted not in taken:
        return wanted
    return next(name for number in range(2, len(taken) + 3) if (name := f"{wanted}-{number}") not in taken)
