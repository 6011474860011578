"""Bad input is harmless: whatever arrives, a decoder gives samples or a reason."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import Measures, Sample
from monitor.intake.binding import Binding
from monitor.intake.counters import Counters, ProbeCount
from monitor.intake.decode import Unreadable, decode
from tests.unit.intake.outcomes import has_reason, sound

if TYPE_CHECKING:
    from monitor.intake.unreadable import Kind

SENML_FIELDS = ("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x", "x_")
ODD_NUMBERS = st.sampled_from(
    [0, 1, -1, 2**28, 10**400, -(10**400), 1e308, -1e308, 5e-324, 1.7e9, 1.7e12, 253402300800]
)
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | ODD_NUMBERS
RECORDS = st.dictionaries(st.sampled_from(SENML_FIELDS), SCALARS | st.sampled_from(["Cel", "K", "on"]), max_size=6)
DOCUMENTS = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner, max_size=4)
)
POINTERS = st.sampled_from(["", "/v", "/0", "/v/0", "/-", "/~", "v", "/a/b/c", "/99999999999999999999"])

BINDINGS = st.builds(
    Binding,
    topic=st.just("t"),
    probe=st.just("p"),
    decoder=st.sampled_from(["number", "json", "senml"]),
    measures=st.sampled_from(list(Measures)),
    scale=st.floats(allow_nan=False, allow_infinity=False),
    offset=st.floats(allow_nan=False, allow_infinity=False),
    unit=st.sampled_from(["", "W"]),
    pointer=POINTERS,
    time_pointer=st.none() | POINTERS,
    sequence_pointer=st.none() | POINTERS,
    name=st.none() | st.text(max_size=3),
    is_word=st.booleans(),
)
PAYLOADS = st.one_of(
    st.binary(max_size=200),
    st.text(max_size=50).map(lambda text: text.encode("utf-8", "surrogatepass")),
    ODD_NUMBERS.map(lambda number: str(number).encode()),
    DOCUMENTS.map(lambda document: json.dumps(document).encode()),
    st.fixed_dictionaries({"v": SCALARS}).map(lambda document: json.dumps(document).encode()),
    st.lists(RECORDS, min_size=1, max_size=5).map(lambda pack: json.dumps(pack).encode()),
)


def outcome_of(payload: bytes, binding: Binding, arrived: int | None) -> list[Sample] | Unreadable:
    try:
        return decode(payload, binding, arrived)
    except Unreadable as refused:
        return refused


@given(payload=PAYLOADS, binding=BINDINGS, arrived=st.none() | st.integers(0, 4_000_000_000_000))
def test_any_message_gives_samples_or_a_reason(payload: bytes, binding: Binding, arrived: int | None) -> None:
    """Any bytes with any binding give well-formed samples or are unreadable with a reason, and nothing else happens."""
    outcome = outcome_of(payload, binding, arrived)
    if isinstance(outcome, Unreadable):
        has_reason(outcome)
    else:
        sound(outcome, arrived)


@given(payload=PAYLOADS, binding=BINDINGS, arrived=st.none() | st.integers(0, 4_000_000_000_000))
def test_decoding_is_repeatable(payload: bytes, binding: Binding, arrived: int | None) -> None:
    """The same message with the same arrival gives the same outcome."""
    first, second = (outcome_of(payload, binding, arrived) for _ in range(2))
    assert str(first) == str(second)


def test_counters_tell_what_became_of_messages() -> None:
    """Messages, samples and refusals by kind are counted apart for each probe, and a snapshot stays as it was."""
    counters = Counters()
    counters.read("ash-water", [Sample(value=1.0), Sample(value=2.0)])
    refusals: list[Kind] = ["oversize", "syntax", "syntax"]
    for kind in refusals:
        counters.refused("ash-water", Unreadable("why", kind))
    counters.refused("birch-air", Unreadable("why", "word"))
    before = counters.snapshot()
    counters.refused("ash-water", Unreadable("why", "syntax"))
    assert before == {
        "ash-water": ProbeCount(4, 2, 3, 1, {"oversize": 1, "syntax": 2}),
        "birch-air": ProbeCount(1, 0, 1, 0, {"word": 1}),
    }
    assert counters.snapshot()["ash-water"].reasons == {"oversize": 1, "syntax": 3}
