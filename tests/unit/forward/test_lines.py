"""Line protocol is safe for whatever a name holds."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import Quality, Reading, SiteSpec
from monitor.forward.lines import Lines, series

SITE = SiteSpec("shed", "UTC", (420,), {}, {})


@given(st.dictionaries(st.sampled_from(["probe", "batch", "lot"]), st.text(max_size=20)))
def test_no_name_breaks_out_of_its_tag(tags: dict[str, str]) -> None:
    """Whatever a tag holds, the line stays one line with one field set, and the tags that are told are those given."""
    begin = series("reading", dict(tags))
    assert begin.isprintable()
    assert "\\\\" not in begin
    assert len(re.split(r"(?<!\\) ", f"{begin} value=1.0 1")) == 3
    measurement, *told = re.split(r"(?<!\\),", begin)
    assert measurement == "reading"
    assert [re.split(r"(?<!\\)=", one)[0] for one in told] == sorted(name for name, value in tags.items() if value)
    assert all(len(re.split(r"(?<!\\)=", one)) == 2 for one in told)


@given(st.integers(-(2**40), 2**40), st.sampled_from(Quality), st.integers(0, 2**41))
def test_a_reading_s_number_comes_back_exactly(milli: int, quality: Quality, time: int) -> None:
    """The value is written so that the thousandths can be had back, under the name that says whether it is used."""
    line = Lines(SITE).reading(Reading("ash-water", time, milli, quality))
    found = re.fullmatch(r"reading,probe=ash-water,site=shed (value|doubtful)=(\S+),quality=(\d)i (\d+)", line)
    assert found is not None
    assert (found[1] == "value") == quality.usable
    assert round(float(found[2]) * 1000) == milli
    assert (int(found[3]), int(found[4])) == (quality, time)
