"""From what is heard on a topic to a binding: the right one, a question, or nothing; never a wrong one, and never a fault."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from monitor.intake.decode import decode
from monitor.intake.propose import Heard, Known, Proposal, Verdict, propose
from monitor.settings import Settings, from_document
from monitor.settings.append import with_blocks
from monitor.settings.blocks import block, table
from tests.unit.intake.styles import CONFIG, PERIOD_S, STYLES, Style
from tests.unit.intake.test_harmless import DOCUMENTS, PAYLOADS, RECORDS

if TYPE_CHECKING:
    from monitor.intake.proposal import Question

T0_S = 1_781_000_000.0
KNOWN = Known("yard", ("ash", "birch", "cedar"), ("fridge",))
TEXT = CONFIG.format(port=1883)


def heard(*payloads: object, retained: bool = False, gap_s: float = PERIOD_S) -> list[Heard]:
    told = [
        one if isinstance(one, bytes) else one.encode() if isinstance(one, str) else json.dumps(one).encode()
        for one in payloads
    ]
    return [Heard(one, round(1000 * (T0_S + n * gap_s)), retained) for n, one in enumerate(told)]


def of_style(style: Style, count: int = 4) -> list[Heard]:
    return heard(*(style.payload(n, T0_S + n * PERIOD_S) for n in range(count)))


def loaded(*blocks: str) -> Settings:
    """The configuration with the blocks pasted at its end, checked."""
    return from_document(tomllib.loads(with_blocks(TEXT, blocks))).settings


def said(verdict: Verdict) -> list[dict[str, Any]]:
    return [one.options({"room"}) for one in verdict.proposals]


def checks(verdict: Verdict) -> set[str]:
    return {key for one in verdict.proposals for key, part in one.parts.items() if part.check}


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
def test_each_style_gets_its_binding_and_nothing_else(style: Style) -> None:
    """What is proposed is decided, names decoder, place, meaning, vessel, unit and period, and marks only what is a guess."""
    verdict = propose(style.topic, of_style(style), KNOWN)
    found = said(verdict)
    assert [one.questions for one in verdict.proposals] == [()] * len(style.probes)
    for wanted in style.probes:
        assert [one for one in found if wanted.items() <= one.items()], found
    assert {one["every"] for one in found} == {10_000}
    assert checks(verdict) == style.odd


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
def test_a_pasted_block_reads_the_very_messages_it_was_made_from(style: Style) -> None:
    """The configuration with the blocks is sound, and its bindings give the values that the probe meant."""
    messages = of_style(style)
    blocks, taken = [], {"room"}
    for one in propose(style.topic, messages, KNOWN).proposals:
        blocks.append(block(one, taken, said="heard"))
        taken.add(one.options(taken)["id"])
    bindings = [one for one in loaded(*blocks).bindings() if one.topic == style.topic]
    for number, message in enumerate(messages):
        read = [sample for one in bindings for sample in decode(message.payload, one, message.arrived)]
        told = sorted(str(value) if isinstance(value, str) else f"{value:.6f}" for value in style.reads(number))
        assert sorted(word(one.running) if one.value is None else f"{one.value:.6f}" for one in read) == told


def word(running: bool | None) -> str:
    return "running" if running else "stopped"


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        ("yard/ash/water", "21,4"),
        ("yard/ash/water", "24.1 C"),
        ("yard/ash/water", "24.1;7;ok"),
        ("yard/ash/water", b"\xff\xfe\x00"),
        ("yard/ash/water", ""),
        ("yard/ash/water", "null"),
        ("yard/ash/water", "241"),  # tenths
        ("yard/ash/water", "85.0"),  # a sensor that has not measured
        ("yard/ash/water", "-127"),
        ("yard/ash/battery", "3.1"),
        ("yard/ash/water/ph", "8.1"),
        ("yard/ash/water", {"value": 25.0, "unit": "g/L"}),
        ("yard/ash/heater", {"on": True}),
        ("yard/ash/heater", "on"),
        ("yard/ash", {"state": "on"}),
        ("yard/ash", {"x": 24.1}),
        ("yard/ash", {"target_temp": 25.0, "cpu": {"temp": 51.0}}),
        ("yard/ash", {"pump_temp": 41.0}),
        ("yard/desk", {"power": 3.1}),
        ("yard/weather", {"pressure": 1013.2}),
        ("yard/ash/pump", "glorp"),
        ("yard/ash/pump/runtime", "4000"),
        ("yard/ash", {"pump": {"auto": True}, "water": {"x": 24.1}}),
        ("yard/ash/pump/cmd", "on"),
        ("yard/set/ash/pump", "on"),
        ("yard/ash/pump/online", "true"),
        ("yard/ash/pump", {"alarm": False}),
        ("yard/ash/pump", {"a": {"b": {"c": {"d": {"e": {"f": {"air": "on"}}}}}}}),
        ("yard/\x1b[2J", "24.1"),
        ("$SYS/broker/uptime", "24"),
    ],
)
def test_what_is_another_thing_or_cannot_be_read_is_passed_over_with_a_reason(topic: str, payload: object) -> None:
    """A wrong binding is worse than none: no proposal, and a sentence that says why."""
    verdict = propose(topic, heard(payload, payload, payload), KNOWN)
    assert verdict.proposals == ()
    assert all(len(reason) > 10 for reason in verdict.passed)


def test_what_only_a_person_knows_is_asked() -> None:
    """A bare number could be water or room of any vessel; the block is a comment until both are said, and then sound."""
    (one,) = propose("probe/7", heard("21.4", "21.5", "21.5"), KNOWN).proposals
    first = asked(one, {})
    assert (first.key, first.choices) == ("measures", ("water", "room", "store"))
    assert "21.5 C could be either" in first.why
    assert asked(one, {"measures": "water"}).choices == ("ash", "birch", "cedar")
    assert one.open_with({"measures": "room"}) is None
    assert all(line.startswith("#") for line in block(one).splitlines())
    for answers in ({"measures": "room"}, {"measures": "store"}, {"measures": "water", "vessel": "birch"}):
        text = block(one, {"room"}, answers)
        assert loaded(text).probes[-1].measures == answers["measures"]
        assert tomllib.loads(text)["probe"] == [table(one, {"room"}, answers)]


def test_air_with_a_temperatures_number_is_asked() -> None:
    """21.4 on a topic called air could be the room's temperature or the pump's number; with an answer each is sound."""
    (one,) = propose("yard/ash/air", heard("21.4", "21.6", "21.5"), KNOWN).proposals
    assert asked(one, {}).choices == ("air", "room")
    assert asked(one, {"measures": "air"}).key == "threshold"
    assert loaded(block(one, {"room"}, {"measures": "room"})).probes[-1].unit == "C"
    air = loaded(block(one, (), {"measures": "air", "threshold": 9.0})).probes[-1]
    assert (air.vessel, air.threshold, air.unit) == ("ash", 9.0, None)


def test_a_count_that_was_not_heard_to_count_is_asked_for_its_threshold() -> None:
    """Nobody knows how many bubbles a minute are enough from one message; with an answer it is a sound count."""
    (one,) = propose("yard/ash/bubbles", heard({"count": 400}), KNOWN).proposals
    assert asked(one, {}).key == "threshold"
    probe = loaded(block(one, {"room"}, {"threshold": 60.0})).probes[-1]
    assert (probe.pulses, probe.threshold) == (True, 60.0)


def asked(one: Proposal, answers: dict[str, Any]) -> Question:
    question = one.open_with(answers)
    assert question is not None
    return question


def test_humidity_beside_a_temperature_is_never_taken_for_water() -> None:
    """On a vessel's own topic a sensor of air may hang above the water: it is asked."""
    (one,) = propose("yard/ash", heard({"temp": 24.1, "humidity": 60}), KNOWN).proposals
    assert asked(one, {}).key == "measures"
    assert "humidity" in asked(one, {}).why


def test_a_number_of_water_may_be_no_temperature() -> None:
    """Where nothing says temperature, salt or a level would look the same: it is marked."""
    (one,) = propose("yard/ash/water", heard("24.1", "24.2", "24.2"), KNOWN).proposals
    assert "please check: nothing says that it is a temperature" in block(one)


@pytest.mark.parametrize(
    ("value", "unit", "check"),
    [("24.1", "C", False), ("77.5", "F", False), ("297.25", "K", True), ("41.0", "F", True)],
)
def test_a_unit_that_is_not_told_follows_from_what_is_usual(value: str, unit: str, check: bool) -> None:
    """A fridge at 41 is one in F, a vessel at 77 too; Kelvin is never taken without a word of doubt."""
    topic = "yard/fridge/temp" if value == "41.0" else "yard/ash/water/temp"
    (one,) = propose(topic, heard(value, value), KNOWN).proposals
    assert one.parts["unit"].value == unit
    assert bool(one.parts["unit"].check) is (check and unit == "K")


def test_a_told_unit_that_would_be_odd_is_marked() -> None:
    """24.1 F in a hatching vessel is well below freezing."""
    (one,) = propose("yard/ash", heard({"water_f": 24.1}), KNOWN).proposals
    assert (one.parts["unit"].value, one.parts["unit"].check) == ("F", "24.1 F would be unusual")


@pytest.mark.parametrize(
    ("document", "why"),
    [
        ({"water_c": 24.1, "time": "2026-06-09 10:13:20"}, "no time with a zone"),
        ({"water_c": 24.1, "time": "2026-06-01T00:00:00Z"}, "behind"),
        ({"water_c": 24.1, "time": round(T0_S + 7200)}, "ahead"),
    ],
)
def test_a_time_that_cannot_be_its_own_is_left_out_and_said(document: dict[str, Any], why: str) -> None:
    """A time without a zone, or far from the arrival, would spoil every reading."""
    verdict = propose("yard/ash", heard(document, document), KNOWN)
    assert "time_pointer" not in verdict.proposals[0].parts
    assert why in verdict.passed[0]


def test_a_count_that_stands_still_is_no_count() -> None:
    """A number called n that never moves would make all readings one; one that jumps counts something else."""
    for counts in ((7, 7, 7), (1, 40, 2000), (3, 2, 1)):
        (one,) = propose("yard/ash", heard(*({"water_c": 24.1, "n": n} for n in counts)), KNOWN).proposals
        assert "sequence_pointer" not in one.parts


@pytest.mark.parametrize(
    ("gaps", "every", "check"),
    [
        ((9.8, 10.3, 10.1), 10_000, ""),
        ((61, 59, 60), 60_000, ""),
        ((7.0, 7.0, 7.0), 7_000, ""),
        ((10.0,), 10_000, "only one gap"),
        ((), 60_000, "the default"),
        ((5, 5, 5, 90), 5_000, "one was 90 s"),
    ],
)
def test_the_period_is_the_middle_of_the_gaps(gaps: tuple[float, ...], every: int, check: str) -> None:
    """Near a period that people set it is that; few gaps or uneven ones are marked."""
    times = [0.0]
    for gap in gaps:
        times.append(times[-1] + gap)
    messages = [Heard(b"24.1", round(1000 * (T0_S + time))) for time in times]
    (one,) = propose("yard/ash/water/temp", messages, KNOWN).proposals
    assert one.parts["every"].value == every
    assert check in one.parts["every"].check
    assert bool(check) is bool(one.parts["every"].check)


def test_a_retained_message_tells_no_period() -> None:
    """What the broker kept came when we did, not when it was sent."""
    messages = [Heard(b"24.1", 0, retained=True), Heard(b"24.2", 3_000)]
    (one,) = propose("yard/ash/water/temp", messages, KNOWN).proposals
    assert "default" in one.parts["every"].check


def test_without_a_vessel_of_its_name_it_is_asked_and_the_only_one_is_marked() -> None:
    """Of three vessels none is guessed; with one it is that, to be checked."""
    (one,) = propose("x/water/temp", heard("24.1"), KNOWN).proposals
    assert asked(one, {}).key == "vessel"
    (one,) = propose("x/water/temp", heard("24.1"), Known("yard", ("ash",))).proposals
    assert one.parts["vessel"].value == "ash"
    assert "no vessel is named" in one.parts["vessel"].check


def test_a_vessels_name_counts_whole() -> None:
    """ash-2 is not ash, and a word that holds a name names nothing."""
    known = Known("yard", ("ash", "ash-2"))
    (one,) = propose("yard/ash-2/water/temp", heard("24.1"), known).proposals
    assert one.parts["vessel"].value == "ash-2"
    (one,) = propose("yard/washer/water/temp", heard("24.1"), known).proposals
    assert "vessel" not in one.parts


# -- whatever is heard

TOPICS = st.sampled_from(
    [
        "yard/ash/water",
        "yard/ash/pump",
        "air",
        "yard/room",
        "fridge",
        "probe/7",
        'a"b\\c',
        "\x9b",
        "yard/ash/bubbles/count",
    ]
) | st.text(max_size=12)
KEYS = st.sampled_from(
    ["water", "temp", "t", "air", "pump", "n", "time", "unit", "name", "count", "w", "bubbles", "~/", "rh"]
)
SAID = st.one_of(
    PAYLOADS,
    DOCUMENTS.map(lambda document: json.dumps(document).encode()),
    st.lists(RECORDS, min_size=1, max_size=3).map(lambda pack: json.dumps(pack).encode()),
    st.recursive(
        st.sampled_from([24.1, 77, 297.15, 0, 1, True, "on", "21.4", "°F", "2026-06-09T10:13:20Z", 1.781e9, None]),
        lambda inner: st.dictionaries(KEYS | st.text(max_size=4), inner, max_size=4) | st.lists(inner, max_size=3),
    ).map(lambda document: json.dumps(document).encode()),
)
MESSAGES = st.lists(st.builds(Heard, SAID, st.integers(0, 2**45), st.booleans()), min_size=1, max_size=4)
REPEATED = st.builds(lambda said, gap: heard(said, said, said, gap_s=gap), SAID, st.floats(0, 1e6))
ANSWERS = {"water": {"vessel": "ash"}, "air": {"vessel": "ash", "threshold": 2.0}, "room": {}, "store": {}}


@given(topic=TOPICS, messages=MESSAGES | REPEATED)
@hypothesis_settings(max_examples=150, deadline=None)
def test_whatever_is_heard_gives_sound_blocks_that_read_it(topic: str, messages: list[Heard]) -> None:
    """Never a fault; what is proposed can be pasted, with any answer, and reads every message it was made from."""
    verdict = propose(topic, messages, KNOWN)
    for one in verdict.proposals:
        choices = next((question.choices for question in one.questions if question.key == "measures"), (None,))
        for measures in choices:
            answers: dict[str, Any] = {} if measures is None else {"measures": measures}
            while (question := one.open_with(answers)) is not None:
                answers[question.key] = question.choices[0] if question.choices else 2.0
            binding = loaded(block(one, {"room"}, answers, said=topic)).bindings()[-1]
            assert binding.topic == topic
            for message in messages:
                assert decode(message.payload, binding, None if message.retained else message.arrived)
