"""Which backups stay: over months of nights, holidays and clock changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.model import DAY, HOUR, Ms
from monitor.store.rotation import Stay, staying

T0 = int(datetime(2026, 3, 1, 2, 30, tzinfo=UTC).timestamp()) * 1000
BERLIN = ZoneInfo("Europe/Berlin")


@dataclass(frozen=True)
class Night:
    time: Ms
    kin: tuple[int, Ms] = (4, T0)


def after(nights: int, stay: Stay) -> list[Night]:
    """What is left when a backup was made each night and the folder rotated after each."""
    left: list[Night] = []
    for number in range(nights):
        left = staying([*left, Night(T0 + number * DAY)], stay, BERLIN)
    return left


def days(left: list[Night]) -> list[str]:
    return [datetime.fromtimestamp(night.time / 1000, BERLIN).strftime("%m-%d") for night in left]


def test_after_half_a_year_of_nights_days_weeks_and_months_are_there() -> None:
    """The last seven days, the Sundays of the weeks before, the last days of the months before."""
    left = days(after(184, Stay()))  # up to the 31st of August, a Monday
    assert left[-7:] == ["08-25", "08-26", "08-27", "08-28", "08-29", "08-30", "08-31"]
    assert left[:-7] == ["03-31", "04-30", "05-31", "06-30", "07-31", "08-16", "08-23"]


def test_the_newest_stays_whatever_the_numbers_say() -> None:
    """There is never less than one."""
    assert days(after(40, Stay(1, 0, 0))) == ["04-09"]


def test_a_holiday_uses_up_nothing() -> None:
    """Days without a backup do not count: what there was before a month away is there after it."""
    before = after(7, Stay(7, 0, 0))
    left = staying([*before, Night(T0 + 40 * DAY)], Stay(7, 0, 0), BERLIN)
    assert left == [*before[1:], Night(T0 + 40 * DAY)]


def test_of_a_day_the_newest_stays() -> None:
    """Backups made by hand take the place of the night's; the day is the site's."""
    late, night, noon = (Night(T0 - 4 * HOUR), Night(T0), Night(T0 + 10 * HOUR))
    assert staying([night, noon, late], Stay(7, 0, 0), BERLIN) == [late, noon]


@pytest.mark.parametrize("kin", [(3, T0), (4, T0 - 900 * DAY)])
def test_the_way_back_to_an_older_program_and_an_older_history_stays(kin: tuple[int, Ms]) -> None:
    """The newest of each older schema is kept, however old it is; so is that of a history before it was begun anew."""
    old = [Night(T0 - number * DAY, kin) for number in (400, 399)]
    assert staying([*old, *after(30, Stay(2, 0, 0))], Stay(2, 0, 0), BERLIN)[0] == old[1]


@settings(deadline=None)
@given(
    st.lists(st.integers(0, 900 * 24), unique=True, max_size=60),
    st.builds(Stay, st.integers(1, 9), st.integers(0, 5), st.integers(0, 7)),
)
def test_whatever_there_is_the_newest_stays_and_rotating_again_deletes_nothing(hours: list[int], stay: Stay) -> None:
    """At most as many stay as were asked for, and one rotation is enough."""
    nights = [Night(T0 + hour * HOUR) for hour in hours]
    left = staying(nights, stay, BERLIN)
    assert left == sorted(left, key=lambda night: night.time)
    assert len(left) <= stay.daily + stay.weekly + stay.monthly
    assert (max(nights, key=lambda night: night.time) in left) if nights else not left
    assert staying(left, stay, BERLIN) == left
