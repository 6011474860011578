"""The decoder for SenML, held to RFC 8428. The packs marked so carry the data of the standard's own examples."""

from __future__ import annotations

import json
from typing import Any

import pytest

from monitor.core.model import Measures, Sample
from monitor.intake.binding import Binding
from monitor.intake.decode import Unreadable, decode

ARRIVED = 1_772_428_200_000  # 2026-03-02T05:10:00Z
DEVICE = "urn:dev:ow:10e2073a01080063"


def water(name: str | None = None, **more: Any) -> Binding:
    return Binding("t", "p", "senml", Measures.WATER, name=name, **more)


def air(name: str | None = None, **more: Any) -> Binding:
    return Binding("t", "p", "senml", Measures.AIR, name=name, **more)


def read(pack: Any, binding: Binding, arrived: int | None = ARRIVED) -> list[Sample]:
    return decode(json.dumps(pack).encode(), binding, arrived)


def kind_of(pack: Any, binding: Binding | None = None) -> str:
    with pytest.raises(Unreadable) as refused:
        read(pack, binding or water())
    return refused.value.kind


def test_single_datapoint() -> None:
    """Section 5.1.1: one temperature, taken about now."""
    assert read([{"n": DEVICE, "u": "Cel", "v": 23.1}], water()) == [Sample(value=23.1)]


def test_multiple_datapoints_with_base_time() -> None:
    """Section 5.1.2: base name, base time and base unit hold for all records, times count from the base time."""
    pack = [
        {"bn": DEVICE + ":", "bt": 1.276020076001e9, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
        {"n": "current", "v": 1.7},
    ]
    times = [1_276_020_071_001, 1_276_020_072_001, 1_276_020_076_001]
    samples = read(pack, air(DEVICE + ":current", unit="A"))
    assert samples == [Sample(value=value, time=time) for value, time in zip((1.2, 1.3, 1.7), times, strict=True)]


def test_records_of_other_quantities_are_passed_over() -> None:
    """Section 5.1.3: of humidity, position and charge in one pack none passes for a temperature."""
    pack = [
        {"bn": DEVICE, "bt": 1.320067464e9, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "%EL", "t": 150, "v": 98},
    ]
    assert kind_of(pack) == "unit"
    assert read([*pack, {"u": "Cel", "t": 60, "v": 21.5}], water()) == [Sample(value=21.5, time=1_320_067_524_000)]


def test_multiple_data_types() -> None:
    """Section 5.1.5: texts, booleans and data beside a number are other records, each for the probe it belongs to."""
    pack = [
        {"bn": DEVICE + ":", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfc-reader", "vd": "aGkgCg"},
    ]
    assert read(pack, water()) == [Sample(value=23.1)]
    assert read(pack, air(DEVICE + ":open", is_word=True)) == [Sample(running=False)]
    assert kind_of(pack, water(DEVICE + ":label")) == "empty"


def test_collection_of_resources() -> None:
    """Section 5.1.6: the last records take the base name of the third and the base time of the first."""
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e9, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    assert read(pack, water("2001:db8::1/temperature")) == [Sample(value=12.3, time=1_320_078_429_000)]
    assert [sample.value for sample in read(pack, water())] == [25.2, 12.3]


def test_a_record_with_base_fields_only_is_no_sample() -> None:
    """Section 5.1.7: a first record that only sets the base name gives nothing by itself."""
    pack = [{"bn": DEVICE + ":"}, {"n": "temp", "u": "Cel", "v": 23.1}, {"n": "heat", "u": "/", "v": 1}]
    assert read(pack, water()) == [Sample(value=23.1)]
    assert kind_of([{"bn": DEVICE, "bv": 20, "bu": "Cel"}]) == "empty"


@pytest.mark.parametrize(
    ("base", "own", "time"),
    [
        (None, -5, ARRIVED - 5_000),
        (None, 0.02, ARRIVED + 20),
        (-10, 4, ARRIVED - 6_000),
        (None, 2**28 - 1, ARRIVED + (2**28 - 1) * 1000),
        (2**28, None, None),  # 1978: absolute, but only a clock that was never set tells it
        (1_772_428_190, 5, ARRIVED - 5_000),
        (1_772_428_200, -1_772_428_200, None),
        (0, 0, None),
    ],
)
def test_times_below_two_to_the_28_count_from_the_arrival(
    base: float | None, own: float | None, time: int | None
) -> None:
    """Section 4.5.3: a sum of times below 2**28 is relative to now, above it is absolute, and zero is about now."""
    record: dict[str, Any] = {"n": "x", "u": "Cel", "v": 20}
    record |= {} if base is None else {"bt": base}
    record |= {} if own is None else {"t": own}
    assert read([record], water()) == [Sample(value=20.0, time=time)]


def test_relative_times_are_left_out_when_the_arrival_says_nothing() -> None:
    """For a message that waited or comes again a relative time is dropped and an absolute one stays."""
    pack = [{"n": "x", "u": "Cel", "v": 20, "t": -5}, {"n": "x", "u": "Cel", "v": 21, "bt": 1_772_428_190}]
    assert [sample.time for sample in read(pack, water(), None)] == [None, ARRIVED - 10_000]


def test_base_value_is_added_and_a_missing_value_is_zero() -> None:
    """Section 4.5.4: value and base value are added, and one alone stands for the sum."""
    pack = [{"bn": "x", "bu": "Cel", "bv": 20, "v": 1.5}, {"t": -1}, {"t": -2, "s": 3}, {"bv": 10, "v": -0.5}]
    assert [sample.value for sample in read(pack, water())] == [21.5, 20.0, 9.5]


def test_kelvin_becomes_celsius_whatever_is_configured() -> None:
    """The unit in the message wins over the configured one, and the configured one holds where it tells none."""
    fahrenheit = water(scale=5 / 9, offset=-160 / 9, unit="degF")
    values = [sample.value for sample in read([{"n": "a", "u": "K", "v": 300}, {"n": "b", "v": 212}], fahrenheit)]
    assert values == pytest.approx([26.85, 100.0])


def test_another_unit_is_refused_by_name() -> None:
    """A temperature probe refuses a unit that measures none, and says which it found."""
    with pytest.raises(Unreadable, match=r"unit 'V' measures no temperature; Cel and K are understood"):
        read([{"n": "x", "u": "V", "v": 3.3}], water())
    assert kind_of([{"n": "x", "u": "W", "v": 3.3}], air(unit="Pa")) == "unit"


def test_air_as_a_number_keeps_its_configured_unit() -> None:
    """An air probe with a number takes the configured unit, or any when none is configured."""
    assert read([{"n": "x", "u": "W", "v": 3.3}], air(unit="W", scale=2)) == [Sample(value=6.6)]
    assert read([{"n": "x", "u": "W", "v": 3.3}], air()) == [Sample(value=3.3)]


@pytest.mark.parametrize("value", [{"vb": True}, {"vs": "Running"}, {"v": 1}])
def test_air_words_may_be_boolean_text_or_one(value: dict[str, Any]) -> None:
    """For a probe that tells words, a boolean, a known text and a one are running."""
    assert read([{"n": "x", **value}], air(is_word=True)) == [Sample(running=True)]


def test_an_air_word_may_be_weak() -> None:
    """A text for weak air is read from a pack as from anywhere else."""
    assert read([{"n": "x", "vs": "weak"}], air(is_word=True)) == [Sample(running=True, weak=True)]


def test_fields_that_must_be_understood_refuse_the_pack() -> None:
    """Section 4.4: an unknown field that ends in an underscore is an error wherever it stands, others are ignored."""
    good = {"n": "x", "u": "Cel", "v": 20}
    assert kind_of([good, {"n": "y", "v": 1, "frob_": 1}]) == "version"
    assert read([{**good, "frob": 1, "ut": 60}], water()) == [Sample(value=20.0)]


def test_a_newer_version_is_refused() -> None:
    """Section 4.4: a version above 10 may mean something we would misread; 10 and below are read."""
    good = {"n": "x", "u": "Cel", "v": 20}
    assert kind_of([{**good, "bver": 11}]) == "version"
    assert read([{**good, "bver": 10}], water()) == [Sample(value=20.0)]


@pytest.mark.parametrize(
    ("pack", "kind"),
    [
        ([], "syntax"),
        ({"n": "x", "v": 1}, "syntax"),
        ([1], "syntax"),
        ("x", "syntax"),
        ([{"n": "x", "v": 1, "vb": True}], "syntax"),
        ([{"n": "x", "v": "1"}], "type"),
        ([{"n": "x", "v": True}], "type"),
        ([{"n": "x", "vb": 1}], "type"),
        ([{"n": 1, "v": 1}], "type"),
        ([{"n": "x", "v": 1, "bt": "now"}], "type"),
        ([{"n": "x", "v": 1, "ut": None}], "type"),
        ([{"n": "x", "v": 1e10, "u": "Cel"}], "range"),
        ([{"n": "x", "v": 1, "bv": 1e308}], "range"),
        ([{"n": "x", "v": 1, "t": 1e300}], "time"),
        ([{"n": "x", "v": 1, "bt": 10**400, "t": 0.5}], "time"),
        ([{"n": "x", "s": 5}], "empty"),
        ([{"n": "y", "v": 5}], "empty"),
    ],
)
def test_what_is_no_usable_pack_is_refused(pack: Any, kind: str) -> None:
    """A pack of the wrong shape, with wrong types, without a value or beyond all limits is refused."""
    assert kind_of(pack, water("x")) == kind


def test_one_bad_record_does_not_hide_a_good_one() -> None:
    """A record with a value out of bounds is passed over when another of the same pack is good."""
    assert read([{"n": "x", "v": 1e12}, {"n": "x", "v": 20}], water()) == [Sample(value=20.0)]
