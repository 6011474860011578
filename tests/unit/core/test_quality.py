from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Air, AirRule, Measures, Ms, Quality, Reading, Sample
from monitor.core.quality import ProbeState, accept, judge
from tests.unit.core.worlds import T0, probe

LEVEL = AirRule("level", threshold=3.0, deadband=1.0)
PULSES = AirRule("pulses", threshold=60.0, deadband=20.0)


def water() -> ProbeState:
    return ProbeState(probe("ash-water", Measures.WATER))


def air(rule: AirRule) -> ProbeState:
    return ProbeState(probe("ash-air", Measures.AIR, air=rule))


def say(
    state: ProbeState,
    value: float,
    arrived: Ms = T0,
    own: Ms | None = None,
    *,
    retained: bool = False,
    queued: bool = False,
) -> Reading:
    """A value comes in and is taken."""
    reading = judge(state, Sample(value=value, time=own), arrived, retained=retained, queued=queued)
    accept(state, reading)
    return reading


def test_a_plain_value_is_good() -> None:
    """A value in range is kept in whole thousandths with its time of arrival and becomes the newest."""
    state = water()
    reading = say(state, 24.0625, T0)
    assert (reading.milli, reading.time, reading.quality, reading.reason) == (24062, T0, Quality.OK, "")
    assert (reading.own_time, reading.arrived, reading.value) == (False, T0, 24.062)
    assert state.newest == reading


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (85.0, "power-on"),
        (-127.0, "did not answer"),
        (50.1, "outside the probe's range -5..50 C"),
        (-5.1, "outside the probe's range"),
    ],
)
def test_what_no_water_can_be_is_suspect(value: float, word: str) -> None:
    """Power-on value, missing sensor and values outside the range are kept with their reason and never used."""
    state = water()
    say(state, 24.0, T0)
    reading = say(state, value, T0 + MINUTE)
    assert reading.quality is Quality.SUSPECT
    assert reading.milli == round(value * 1000)
    assert word in reading.reason
    assert state.newest is not None
    assert state.newest.value == 24.0
    assert (state.suspect, state.last_reason, state.heard) == (1, reading.reason, T0 + MINUTE)


@pytest.mark.parametrize("value", [-5.0, 50.0, 0.0, 84.9])
def test_the_ends_of_the_range_belong_to_it(value: float) -> None:
    """The limits of the range are inside, and a wide range makes no number suspicious but the sensor's own codes."""
    state = ProbeState(probe("ash-water", Measures.WATER, low=-5, high=50 if value != 84.9 else 100))
    assert say(state, value).quality is Quality.OK


def test_a_power_on_value_in_a_wide_range_is_still_one() -> None:
    """85.0 C is not believed even where the range would allow it."""
    assert say(ProbeState(probe("kettle", Measures.WATER, high=120)), 85.0).quality is Quality.SUSPECT


def test_an_impossible_jump_is_suspect_until_it_persists() -> None:
    """A jump of 8 C in a minute is doubted twice and believed the third time that it is told alike."""
    state = water()
    say(state, 24.0, T0)
    told = [say(state, 32.0 + k / 10, T0 + (k + 1) * MINUTE).quality for k in range(3)]
    assert told == [Quality.SUSPECT, Quality.SUSPECT, Quality.OK]
    assert state.newest is not None
    assert state.newest.value == 32.2


def test_jumps_that_differ_are_never_believed() -> None:
    """A sensor that jumps about tells nothing, however long it goes on."""
    state = water()
    say(state, 24.0, T0)
    told = {say(state, 32.0 if k % 2 else 8.0, T0 + k * 10 * SECOND).quality for k in range(1, 13)}
    assert told == {Quality.SUSPECT}


def test_a_good_value_between_jumps_starts_the_count_anew() -> None:
    """Two jumps, a good value and two jumps are four doubts."""
    state = water()
    told = [say(state, value, T0 + k * MINUTE).quality for k, value in enumerate([24.0, 32, 32, 24, 32, 32])]
    assert [quality.word for quality in told] == ["ok", "suspect", "suspect", "ok", "suspect", "suspect"]


def test_the_same_jump_told_again_is_no_second_one() -> None:
    """A doubtful value that is delivered again and again with the same time of its own is doubted each time."""
    state = water()
    say(state, 24.0, T0, T0)
    told = {say(state, 32.0, T0 + MINUTE + k, T0 + MINUTE).quality for k in range(5)}
    assert told == {Quality.SUSPECT}


def test_a_change_the_water_can_make_is_believed() -> None:
    """The longer the silence, the larger the step that is possible; after a day any is."""
    for after, step, quality in [
        (MINUTE, 3.0, Quality.OK),
        (MINUTE, 3.1, Quality.SUSPECT),
        (10 * MINUTE, 9.9, Quality.OK),
        (10 * MINUTE, 10.1, Quality.SUSPECT),
        (DAY + MINUTE, 25.0, Quality.OK),
    ]:
        state = water()
        say(state, 20.0, T0)
        assert say(state, 20.0 + step, T0 + after).quality is quality, (after, step)


def test_its_own_time_stands() -> None:
    """A time of its own is the reading's time, late or a little ahead."""
    for own in (T0 - 3 * HOUR, T0 + 2 * MINUTE):
        reading = say(water(), 24.0, T0, own)
        assert (reading.time, reading.own_time, reading.arrived, reading.quality) == (own, True, T0, Quality.OK)


def test_a_time_in_the_future_is_clamped_and_flagged() -> None:
    """More than two minutes ahead the arrival stands instead; the value is used and says why its time is not."""
    state = water()
    reading = say(state, 24.0, T0, T0 + 2 * MINUTE + 1)
    assert (reading.time, reading.quality, reading.own_time) == (T0, Quality.CLAMPED, False)
    assert reading.reason == "its own time is 120 s in the future"
    assert state.fresh(T0)


def test_a_clock_that_was_never_set_tells_no_time() -> None:
    """A time of 1970 is as if none had been told."""
    reading = say(water(), 24.0, T0, 86_400_000)
    assert (reading.time, reading.quality, reading.own_time) == (T0, Quality.OK, False)


@pytest.mark.parametrize("own", [None, 86_400_000, T0 + HOUR])
@pytest.mark.parametrize(("how", "quality"), [("retained", Quality.LAST_KNOWN), ("queued", Quality.QUEUED)])
def test_what_the_broker_kept_is_never_fresh(own: Ms | None, how: str, quality: Quality) -> None:
    """Retained or queued without a time of its own that can be true, a value is kept and never used as the present one."""
    state = water()
    reading = say(state, 24.0, T0, own, retained=how == "retained", queued=how == "queued")
    assert (reading.quality, reading.own_time) == (quality, False)
    assert state.newest is None
    assert not state.fresh(T0)


@pytest.mark.parametrize("how", ["retained", "queued"])
def test_a_kept_value_with_its_own_time_is_as_old_as_that(how: str) -> None:
    """With a true time of its own a retained or queued value is good, and as old as its time says."""
    state = water()
    say(state, 24.0, T0, T0 - HOUR, retained=how == "retained", queued=how == "queued")
    assert state.age(T0) == HOUR
    assert not state.fresh(T0)


def test_fresh_ends_after_two_periods() -> None:
    """A value is fresh up to two of its probe's periods, not a millisecond longer."""
    state = water()
    say(state, 24.0, T0)
    assert state.fresh(T0 + 2 * MINUTE)
    assert not state.fresh(T0 + 2 * MINUTE + 1)


def test_nothing_told_is_not_fresh() -> None:
    """A probe that has told nothing has no age and is not fresh."""
    assert water().age(T0) is None
    assert not water().fresh(T0)


def test_what_lies_ahead_of_the_clock_is_not_fresh() -> None:
    """When the clock stands before the newest reading nobody knows how old that is: it is not fresh."""
    state = water()
    say(state, 24.0, T0)
    assert state.fresh(T0 - 2 * MINUTE)
    assert not state.fresh(T0 - HOUR)


def test_an_older_reading_does_not_replace_a_newer() -> None:
    """A late reading is taken into the history and leaves the newest value as it is."""
    state = water()
    say(state, 24.0, T0, T0)
    late = judge(state, Sample(value=23.0, time=T0 - HOUR), T0 + SECOND)
    assert not accept(state, late)
    assert late.quality is Quality.OK
    assert state.newest is not None
    assert state.newest.value == 24.0
    assert state.accepted == 2


def test_a_word_is_the_air() -> None:
    """Running and stopped are 1 and 0; since when is the time of the first that said so."""
    state = air(AirRule())
    for k, running in enumerate([True, True, False, False, True]):
        reading = judge(state, Sample(running=running), T0 + k * MINUTE)
        assert (reading.state, reading.milli) == (int(running), 1000 * running)
        assert accept(state, reading)
        assert (state.air_state, state.air_since) == (int(running), T0 + [0, 0, 2, 2, 4][k] * MINUTE)


@pytest.mark.parametrize(
    ("levels", "states"),
    [
        ([3.0, 2.0, 1.99, 2.5, 2.99, 3.0], [1, 1, 0, 0, 0, 1]),
        ([2.5, 1.0, 2.9], [1, 0, 0]),
        ([0.0, 3.1, 2.0, 0.0], [0, 1, 1, 0]),
    ],
)
def test_a_level_has_a_deadband(levels: list[float], states: list[int]) -> None:
    """Running from the threshold up, stopped below the deadband, in between as before."""
    state = air(LEVEL)
    assert [say(state, level, T0 + k * MINUTE).state for k, level in enumerate(levels)] == states


@given(st.lists(st.floats(2.0, 2.999), min_size=1, max_size=20), st.booleans())
def test_a_level_that_hovers_in_the_deadband_never_flaps(levels: list[float], running: bool) -> None:
    """Whatever the level does inside its deadband, the air stays what it was."""
    state = air(LEVEL)
    say(state, 5.0 if running else 0.0, T0)
    for k, level in enumerate(levels):
        assert say(state, level, T0 + (k + 1) * SECOND).state == int(running)


def test_a_retained_level_moves_nothing() -> None:
    """An old level without a time decides nothing about the air."""
    state = air(LEVEL)
    assert say(state, 0.0, T0, retained=True).state is None
    assert (state.air_state, state.newest) == (None, None)


def test_pulses_become_a_rate() -> None:
    """Two counts make a rate per minute; a first count, and one after the counter began anew, cannot tell."""
    state = air(PULSES)
    counts = [1000, 1060, 1110, 1149, 1200, 5, 70]
    #           ?    60    50    39    51   ?  65 per minute; threshold 60, stopped below 40
    told = [say(state, count, T0 + k * MINUTE).state for k, count in enumerate(counts)]
    assert told == [None, 1, 1, 0, 0, None, 1]


def test_a_count_that_cannot_tell_is_no_news() -> None:
    """The first count of a counter neither makes a probe fresh nor changes the air."""
    state = air(PULSES)
    say(state, 7.0, T0)
    assert (state.newest, state.air_state, state.fresh(T0)) == (None, None, False)
    assert state.heard == T0


def test_a_late_count_spoils_no_rate() -> None:
    """A count that comes late tells nothing, and the next rate is reckoned from the newest count."""
    state = air(PULSES)
    for k, count in enumerate([0, 300, 600, 601]):
        say(state, count, T0 + k * MINUTE, T0 + k * MINUTE)
    assert state.air_state == 0
    assert say(state, 150, T0 + 4 * MINUTE, T0 + 30 * SECOND).state is None
    assert say(state, 602, T0 + 4 * MINUTE, T0 + 4 * MINUTE).state == 0


def test_a_pulse_count_told_twice_changes_nothing() -> None:
    """The same count with the same time is no new pulse and no standstill."""
    state = air(PULSES)
    for k in range(3):
        say(state, 100.0 * k, T0 + k * MINUTE, T0 + k * MINUTE)
    assert say(state, 200.0, T0 + 3 * MINUTE, T0 + 2 * MINUTE).state is None
    assert state.air_state == 1


BUBBLES = AirRule("level", threshold=60.0, deadband=20.0, weak_below=120.0)


@pytest.mark.parametrize(
    ("levels", "states"),
    [
        ([180, 119, 139, 140, 120, 119], "running weak weak running running weak"),
        ([100, 59, 41, 39, 59, 60, 130, 140], "weak weak weak stopped stopped weak weak running"),
        ([0, 130, 119], "stopped running weak"),
        ([50, 30], "weak stopped"),
    ],
)
def test_a_second_threshold_tells_weak_air(levels: list[float], states: str) -> None:
    """Weak below its limit and not stopped; no longer weak only from the deadband above it on."""
    state = air(BUBBLES)
    told = [say(state, level, T0 + k * MINUTE).state for k, level in enumerate(levels)]
    assert [Air(one or 0).word for one in told] == states.split()


def test_pulses_tell_weak_air() -> None:
    """A count that goes up more slowly than it should is weak air."""
    state = air(AirRule("pulses", threshold=60.0, deadband=20.0, weak_below=120.0))
    told = [say(state, count, T0 + k * MINUTE).state for k, count in enumerate([0, 180, 280, 310, 311, 500])]
    assert told == [None, Air.RUNNING, Air.WEAK, Air.STOPPED, Air.STOPPED, Air.RUNNING]


@given(st.lists(st.floats(0.0, 300.0), min_size=1, max_size=20))
def test_a_limit_for_weak_air_changes_nothing_of_stopped(levels: list[float]) -> None:
    """Air is stopped at the same readings with and without a limit for weak air."""
    with_limit, without = air(BUBBLES), air(AirRule("level", 60.0, 20.0))
    for k, level in enumerate(levels):
        told = [say(state, level, T0 + k * MINUTE).state for state in (with_limit, without)]
        assert (told[0] == Air.STOPPED) == (told[1] == Air.STOPPED)


def test_weak_air_was_seen_to_run() -> None:
    """Weak air is air: it is the last seen before a stop, and known to have been weak."""
    state = air(AirRule())
    for k, what in enumerate([Air.RUNNING, Air.WEAK, Air.STOPPED]):
        accept(state, judge(state, Sample.of_air(what), T0 + k * MINUTE))
    assert (state.air_state, state.air_since) == (Air.STOPPED, T0 + 2 * MINUTE)
    assert (state.air_seen, state.seen_weak) == (T0 + MINUTE, True)


@given(st.integers(0, 100), st.integers(0, 100), st.integers(0, 100))
def test_a_slot_tells_the_worst_of_its_air(running: int, weak: int, stopped: int) -> None:
    """From the sum of a slot alone it is known whether air was stopped, weak or running all along."""
    count = running + weak + stopped
    state = air(AirRule())
    state.recall(T0, max(count, 1), running * Air.RUNNING.milli + weak * Air.WEAK.milli)
    worst = Air.STOPPED if stopped or not count else Air.WEAK if weak else Air.RUNNING
    assert state.air_state == worst


VALUES = st.sampled_from([85.0, -127.0, 24.0, 24.5, 31.0, 60.0, -40.0, 12.25]) | st.floats(-1e9, 1e9)
TIMES = st.none() | st.integers(0, T0 + DAY)


@given(
    st.lists(st.tuples(VALUES, TIMES, st.booleans(), st.booleans(), st.integers(0, 10 * MINUTE)), max_size=25),
    st.sampled_from([Measures.WATER, Measures.ROOM, Measures.AIR]),
)
def test_any_stream_is_judged(samples: list[tuple[float, Ms | None, bool, bool, Ms]], measures: Measures) -> None:
    """Whatever a probe tells, nothing is raised, what is not good has a reason, and only good values are the newest."""
    state = ProbeState(probe("ash-x", measures, air=LEVEL))
    now = T0
    for value, own, retained, queued, wait in samples:
        now += wait
        before = state.newest
        reading = say(state, value, now, own, retained=retained, queued=queued)
        assert (reading.quality is Quality.OK) == (reading.reason == "")
        assert reading.time <= now + 2 * MINUTE
        assert reading.milli == round(value * 1000)
        if state.newest is not before:
            assert state.newest == reading
            assert reading.quality.usable
        if (retained or queued) and not reading.own_time:
            assert state.newest is before
    assert state.accepted + state.suspect == len(samples)


def test_a_slow_true_change_is_never_doubted() -> None:
    """Water that cools or warms as fast as the probe's greatest rate is believed all the way."""
    state = water()
    for k, value in enumerate(itertools.chain(range(24, 10, -1), range(10, 30))):
        assert say(state, float(value), T0 + k * MINUTE).quality is Quality.OK
