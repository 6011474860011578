"""What a decoder may answer, whatever arrives: samples that can be reckoned with, or a reason for a keeper."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from monitor.intake.unreadable import KINDS

if TYPE_CHECKING:
    from monitor.core.model import Ms, Sample
    from monitor.intake.unreadable import Unreadable

LARGEST: Final = 1e9  # in any unit
LONGEST_REASON: Final = 500
YEAR_1: Final = -62_135_596_800_000
YEAR_9999: Final = 253_402_300_799_999  # its end


def sound(samples: list[Sample], arrived: Ms | None = None) -> None:
    """They can be reckoned with and stored; a time may count from when they arrived."""
    assert samples
    for sample in samples:
        assert (sample.value is None) is not (sample.running is None)
        if sample.value is not None:
            assert type(sample.value) is float
            assert math.isfinite(sample.value)
            assert abs(sample.value) <= LARGEST
        if sample.time is not None:
            assert type(sample.time) is int
            assert YEAR_1 <= sample.time <= YEAR_9999 + (arrived or 0)
        assert sample.seq is None or (type(sample.seq) is int and 0 <= sample.seq < 2**63)


def has_reason(why: Unreadable) -> None:
    """One of the kinds that are counted, in a few words."""
    assert why.kind in KINDS
    assert 0 < len(why.reason) < LONGEST_REASON
