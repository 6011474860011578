"""From what was heard on one topic to the bindings it could have, the likeliest first. Pure, and never raises.

A wrong binding is worse than none: a room's temperature taken for the water's moves the forecast, and a heater's switch taken
for the pump's rings at night. So what is uncertain is marked, and what only a person knows is asked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import Measures
from monitor.intake import hints
from monitor.intake.binding import DEFAULT_WORDS_OFF, DEFAULT_WORDS_ON, Binding
from monitor.intake.decode import decode
from monitor.intake.meaning import TO_C, meaning_of
from monitor.intake.pace import period, sequence_place, time_place
from monitor.intake.places import Heard, Place, places
from monitor.intake.proposal import Known, Part, Proposal, Question
from monitor.intake.threshold import threshold_of
from monitor.intake.unreadable import Unreadable, shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.intake.meaning import Meaning

__all__ = ["Heard", "Known", "Part", "Proposal", "Question", "Verdict", "propose"]

MOST: Final = 8
"""Probes proposed for one topic; a message of more values is a report, not a probe's."""


BY_PLACE: Final = "it is found by its place in a list; one more before it would be read instead"


@light
class Verdict:
    """``passed`` says in sentences what was left aside and why."""

    proposals: tuple[Proposal, ...] = ()
    passed: tuple[str, ...] = ()


def propose(topic: str, heard: Sequence[Heard], known: Known) -> Verdict:
    """What could be bound on this topic. ``heard`` in order of arrival, at least one."""
    if not topic or not topic.isprintable() or topic.startswith("$") or "+" in topic or "#" in topic:
        return Verdict(passed=("its name cannot be written in the configuration",))
    try:
        found = places(heard)
    except Unreadable as refused:
        return Verdict(passed=(refused.reason,))
    clock, time, why_not = time_place(found, heard)
    counter, count = sequence_place([place for place in found if place is not clock], heard)
    shared = {"every": period(heard)}
    if time is not None:
        shared["time_pointer"] = time
    if count is not None:
        shared["sequence_pointer"] = count
    proposals, passed = [], [why_not] if why_not else []
    topic_levels = [level for level in hints.levels_of_topic(topic) if level.text.casefold() != known.site.casefold()]
    for place in found:
        if place is clock or place is counter:
            continue
        meaning = meaning_of(place, topic_levels, known)
        if meaning.nothing:
            passed.append(_at(place) + meaning.nothing)
            continue
        proposal = _proposal(topic, place, heard, meaning, shared, topic_levels)
        refused_by = _unreadable(proposal, place, heard)
        if refused_by:
            passed.append(_at(place) + refused_by)
        else:
            proposals.append(proposal)
    return Verdict(tuple(sorted(proposals, key=lambda one: one.rank)[:MOST]), tuple(passed[:MOST]))


def _at(place: Place) -> str:
    where = place.pointer or place.name
    return f"{shown(where)}: " if where else ""


def _proposal(
    topic: str,
    place: Place,
    heard: Sequence[Heard],
    meaning: Meaning,
    shared: Mapping[str, Part],
    topic_levels: Sequence[hints.Level],
) -> Proposal:
    parts = {"topic": Part(topic), "decoder": Part(place.decoder)}
    if place.decoder == "json":
        parts["pointer"] = Part(place.pointer, "", BY_PLACE if place.listed else "")
    if place.decoder == "senml" and place.name:
        parts["name"] = Part(place.name)
    parts |= {key: part for key, part in shared.items() if key == "every" or place.decoder == "json"}
    parts |= meaning.parts
    questions = list(meaning.questions)
    measures = _possible(parts, questions)
    if "air" in measures and place.numeric and not _by_words(meaning, place):
        told, question = threshold_of(place, heard, [*place.levels, *topic_levels])
        if len(measures) == 1:
            parts |= told
        elif question is None:
            question = Question("threshold", (), f"should it be air, perhaps from {told['threshold'].value:g} on")
        questions += [] if question is None else [question]
    return Proposal(topic, parts, tuple(questions), _newest(place, parts), meaning.evidence + len(shared))


def _by_words(meaning: Meaning, place: Place) -> bool:
    """0 and 1 are words of the air that runs or not, unless a unit makes them numbers."""
    return set(place.numbers) <= {0.0, 1.0} and "unit" not in meaning.parts


def _newest(place: Place, parts: Mapping[str, Part]) -> str:
    if not place.numeric or not ("unit" in parts or "measures" not in parts or "threshold" in parts):
        return shown(place.found[-1])
    value = place.numbers[-1]
    unit = parts["unit"].value if "unit" in parts else ""
    told = f"{value:g} {unit}".rstrip()
    if unit not in ("F", "K"):
        return told
    scale, offset = TO_C[unit]
    return f"{told}, which is {value * scale + offset:.1f} C"


def _unreadable(proposal: Proposal, place: Place, heard: Sequence[Heard]) -> str:
    """Why one of the very messages it was made from could not be read with it, whatever is answered; empty when all can."""
    try:
        for measures in _possible(proposal.parts, proposal.questions):
            binding = _binding(proposal, place, measures)
            for one in heard:
                decode(one.payload, binding, None if one.retained else one.arrived)
    except Unreadable as refused:
        return refused.reason
    return ""


def _possible(parts: Mapping[str, Part], questions: Sequence[Question]) -> tuple[str, ...]:
    """What it may measure."""
    if "measures" in parts:
        return (parts["measures"].value,)
    return next((question.choices for question in questions if question.key == "measures"), ())


def _binding(proposal: Proposal, place: Place, measures: str) -> Binding:
    said = {key: part.value for key, part in proposal.parts.items()}
    numeric = "threshold" in said or any(question.key == "threshold" for question in proposal.questions)
    scale, offset = (1.0, 0.0) if measures == "air" else TO_C[said["unit"]]
    return Binding(
        topic=proposal.topic,
        probe="",
        decoder=place.decoder,
        measures=Measures(measures),
        scale=scale,
        offset=offset,
        unit=said.get("unit", "") if "measures" in said else "",
        pointer=place.pointer,
        time_pointer=said.get("time_pointer"),
        sequence_pointer=said.get("sequence_pointer"),
        name=said.get("name"),
        is_word=measures == "air" and not numeric,
        words_on=frozenset(said.get("words_on", DEFAULT_WORDS_ON)),
        words_off=frozenset(said.get("words_off", DEFAULT_WORDS_OFF)),
    )
