"""The story of a batch, sentence by sentence, out of records made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

import pytest

from monitor.core.chronicle import Known, chronicle
from monitor.core.lives import ReadyTold, lives
from monitor.core.log import Chill, Discard, Harvest, Lapse, Seen, Settle, Sight, Start, Undo, Work
from monitor.core.lots import Taught
from monitor.core.model import HOUR, MINUTE, Alarm, AlarmState, Ms, Priority, Transition
from monitor.core.tale_courses import AirLevel, Level

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.log import LogEntry

ZONE: Final = "Europe/Berlin"
NAME: Final = "birch-2026-10-24"


def at(text: str) -> Ms:
    """``24 21:10`` is summer time; from 03:00 of the 25th on, clocks have gone back: ``25 04:12``."""
    day, clock = text.split()
    summer = day == "24" or clock < "03:00"
    return int(datetime.fromisoformat(f"2026-10-{day}T{clock}:00+0{2 if summer else 1}:00").timestamp() * 1000)


START: Final = Start(at("24 21:10"), at("24 21:10"), NAME, "birch", "oak-7", 2.0, 1.5, 25.0)
END: Final = at("25 21:05")


def seen(clock: str, what: Sight, share: float | None = None) -> Seen:
    return Seen(at(clock), at(clock), NAME, what, share)


def told(clock: str, ready: str, before: float = 2.0, after: float = 3.0, water: float = 26.0) -> ReadyTold:
    mid = at(ready)
    return ReadyTold(at(clock), mid - round(before * HOUR), mid, mid + round(after * HOUR), water)


def water(cold: tuple[str, str] | None = None, until: Ms = END) -> Iterator[Level]:
    """26 °C, and 22.1 for a while."""
    for time in range(START.time, until, 5 * MINUTE):
        mean = 22.2 if cold and at(cold[0]) <= time < at(cold[1]) else 26.0
        yield Level(time, mean - 0.1, mean, mean + 0.4)


def air(*stops: tuple[str, int], weak: tuple[str, int] | None = None) -> Iterator[AirLevel]:
    """Six readings a minute; each stop is a begin and minutes."""
    halts = [(at(begin), at(begin) + minutes * MINUTE) for begin, minutes in stops]
    for time in range(START.time, END, MINUTE):
        stopped = any(begin <= time < end for begin, end in halts)
        low = weak is not None and at(weak[0]) <= time < at(weak[0]) + weak[1] * MINUTE
        yield AirLevel(time, 6, 6 if stopped else 0, 6 if low and not stopped else 0)


def life_of(rule: str, title: str, subject: str, rang: str, answered: int, over: int) -> tuple[Transition, ...]:
    """An alarm that rang, was acknowledged and was over so many minutes later."""
    time = at(rang)
    alarm = Alarm(
        f"{rule}:{subject}", rule, subject, Priority.HIGH, AlarmState.UNACKNOWLEDGED, time, time, title, "", "", ""
    )
    steps = ((answered, AlarmState.ACKNOWLEDGED), (over, AlarmState.NORMAL))
    moves, before = [Transition(time, alarm, AlarmState.NORMAL, True, "")], AlarmState.UNACKNOWLEDGED
    for minutes, state in steps:
        moves.append(Transition(time + minutes * MINUTE, replace(alarm, state=state, changed=time), before, False, ""))
        before = state
    return tuple(moves)


def a_record(*entries: LogEntry, **more: Any) -> Known:
    (life,) = lives([START, *entries])
    rest = {"water": tuple(water()), "air": tuple(air()), "about": frozenset({NAME, "birch", "birch-water"}), **more}
    return Known(life, ZONE, "Great Salt Lake", **rest)


def texts(known: Known) -> list[tuple[str, str]]:
    return [(one.kind, one.text) for one in chronicle(known).sentences]


def of(known: Known, kind: str) -> list[str]:
    return [text for each, text in texts(known) if each == kind]


def test_a_whole_night_is_told_in_order_with_what_moved_the_forecast() -> None:
    """Cold, air, alarm, looks, harvest and what was learned: each once, a moved forecast with its reason, and the verdict."""
    known = a_record(
        seen("25 16:55", Sight.FIRST),
        seen("25 19:10", Sight.SOME),
        Harvest(END, END, NAME, 0.72, 180_000.0),
        water=tuple(water(cold=("25 02:00", "25 06:40"))),
        air=tuple(air(("25 04:12", 7))),
        alarms=life_of("air-stopped", "Air stopped in birch", "birch", "25 04:13", 3, 6),
        told=(
            told("24 21:15", "25 18:40"),
            told("25 01:30", "25 18:45"),
            told("25 05:00", "25 20:50", water=22.4),
            told("25 12:00", "25 20:50", 1.5, 2),
            told("25 17:00", "25 20:10", 1, 1),
        ),
        taught=Taught(NAME, END, 17.23, 0.741),
    )
    assert chronicle(known).summary == (
        (
            "2 g of oak-7 in birch, started Sat 24 Oct 21:10, was harvested after 25 h with about 180 000 young brine "
            "shrimp; 72 % of the cysts hatched."
        ),
        (
            "It was ready some time between the look at Sun 19:10 and the harvest at 21:05, "
            "30 min later than told at the start, inside the range."
        ),
        "The water was 22.1 to 26.4 °C, 25.1 °C on average, and the air stopped for 7 min.",
    )
    assert texts(known) == [
        (
            "start",
            (
                "Started in birch: 2 g of oak-7 (Great Salt Lake) in 1.5 L at 25 g/L salt, water at 26.0 °C. "
                "Ready was expected Sun 18:40, 8 chances in 10 between 16:40 and 21:40."
            ),
        ),
        (
            "water",
            "The water fell to 22.1 °C, from 26.0 °C as usual; back by 06:40; ready moved 2 h 10 min later, to 20:50.",
        ),
        ("air", "Air stopped for 7 min. The alarm rang at 04:13, answered after 3 min."),
        ("seen", "You looked: the first few swam; ready moved 40 min earlier, to 20:10."),
        ("seen", "You looked: some swam."),
        ("harvest", "Harvested after 25 h with about 180 000 young brine shrimp; 72 % of the cysts hatched."),
        ("taught", "It taught oak-7: 74 % of its cysts hatch, half of them within 17.2 h at 25 °C."),
        (
            "verdict",
            (
                "How good was it? It was ready some time between the look at 19:10 and the harvest at 21:05, 30 min later "
                "than told at the start, inside the range. All 5 estimates told before that held it in their range; "
                "the range promises 8 in 10."
            ),
        ),
    ]


def test_the_hour_that_comes_twice_says_which_one_it_is() -> None:
    """Half past two in summer time and half past two in winter time are two instants, and read as two."""
    summer = at("25 02:30")
    known = a_record(deeds=(Settle(summer, summer, "birch", summer + HOUR),))
    assert of(known, "settle") == ["Air off on purpose until 02:30 CET."]


def test_what_was_taken_back_is_told_and_counts_for_nothing() -> None:
    """The wrong harvest is named, and the batch goes on."""
    wrong = Harvest(at("25 12:00"), at("25 12:00"), NAME)
    undo = Undo(at("25 12:02"), at("25 12:02"), "harvest", NAME, at("25 12:00"))
    known = a_record(undone=((wrong, undo),))
    assert of(known, "undone") == [f"Noted and taken back 2 min later: the harvest of {NAME}; it counts for nothing."]
    assert of(known, "harvest") == []
    assert chronicle(known).summary[0] == "2 g of oak-7 in birch, started Sat 24 Oct 21:10, is under way."


@pytest.mark.parametrize(
    ("end", "said"),
    [
        (Discard(END, END, NAME, "smelt bad."), "Thrown away after 25 h: smelt bad."),
        (Discard(END, END + HOUR, NAME), "Thrown away after 25 h; no reason was noted (noted 22:05)."),
        (
            Lapse(END, END, NAME),
            "Nobody had written down how it ended, so the monitor closed it after 25 h.",
        ),
    ],
)
def test_an_end_without_animals_is_told_and_nothing_is_held_against_the_forecast(
    end: Discard | Lapse, said: str
) -> None:
    """Where nobody saw most of them swim, no verdict is made up."""
    known = a_record(end, told=(told("24 21:15", "25 18:40"),))
    found = texts(known)
    assert found[-2][1] == said
    assert found[-1] == (
        "verdict",
        "How good was it? Nobody saw most of them swim, so what was told can't be held against it.",
    )


def test_what_came_outside_the_range_is_said_so() -> None:
    """A forecast that was wrong is called wrong."""
    known = a_record(
        seen("25 11:00", Sight.SOME), seen("25 12:00", Sight.MOST), told=(told("24 21:15", "25 18:40", 2, 3),)
    )
    assert chronicle(known).summary[1] == (
        "Most swam some time between Sun 11:00 and 12:00, 6 h 40 min earlier than told at the start, outside the range."
    )


def test_air_off_on_purpose_is_no_stop() -> None:
    """Settling and work are told as what they were; a stop that outlasts them is told as well."""
    deeds = (
        Settle(at("25 10:00"), at("25 10:00"), "birch", at("25 10:15")),
        Work(at("25 12:00"), at("25 12:00"), "birch", at("25 12:30")),
        Work(at("25 12:10"), at("25 12:10"), "birch", at("25 12:10")),
    )
    stops = (("25 10:01", 14), ("25 12:02", 8), ("25 14:00", 2))
    known = a_record(deeds=deeds, air=tuple(air(*stops)))
    assert of(known, "settle") == ["Air off on purpose until 10:15."]
    assert of(known, "work") == ["You worked on the vessel until 12:10."]
    assert of(known, "air") == ["Air stopped for 2 min."]


def test_weak_air_is_told_beside_stops() -> None:
    """Air that ran too weakly is no stop, and no calm either."""
    known = a_record(air=tuple(air(weak=("25 10:00", 90))))
    assert of(known, "air") == ["Air was weak for 1 h 30 min."]
    assert chronicle(known).summary[-1].endswith("and the air never stopped but was weak for 1 h 30 min.")


def test_what_has_not_ended_is_not_told_as_if_it_had() -> None:
    """Air that is off by the last reading, cold that stays, an alarm that stands: nothing says that they are over."""
    rang = life_of("hatch-late", "birch will be ready late", "birch", "25 04:13", 5, 60)[:1]
    cold = tuple(one for one in water(cold=("25 19:00", "25 22:00")))
    known = a_record(air=tuple(air(("25 20:35", 90))), water=cold, alarms=rang, told=(told("25 19:30", "25 18:40"),))
    assert of(known, "air") == ["Air stopped, and still so 30 min later."]
    assert of(known, "water") == ["The water fell to 22.1 °C, from 26.0 °C as usual; still so at 21:00."]
    assert of(known, "alarm") == ["Alarm: birch will be ready late. Nobody has answered it."]
    assert chronicle(known).summary[1].startswith("By the newest forecast on record it was ready about Sun 18:40")


def test_what_comes_again_and_again_is_one_sentence() -> None:
    """Many stops, many looks of the same, and an alarm that chatters don't fill a page."""
    stops = [(f"25 {hour:02d}:10", hour) for hour in range(4, 10)]
    rang = [
        move
        for hour in range(4, 10)
        for move in life_of("probe-suspect", "birch-water is doubtful", "birch-water", f"25 {hour:02d}:30", 1, 2)
    ]
    looks = [seen(f"25 {hour:02d}:00", Sight.NONE) for hour in range(6, 10)]
    known = a_record(*looks, air=tuple(air(*stops)), alarms=tuple(rang))
    assert of(known, "air") == ["Air stopped 6 times up to 09:19, 39 min together and 9 min at the longest."]
    assert of(known, "alarm") == ["Alarm, 6 times up to 09:30: birch-water is doubtful."]
    assert of(known, "seen") == ["You looked 4 times up to 09:00: nothing swam yet."]


def test_a_start_that_was_written_down_late_makes_no_claim_for_what_was_told_then() -> None:
    """What was told ten hours late is called so, what was told after it came is no forecast, and earlier alarms are another's."""
    late = replace(START, logged=at("25 07:10"))
    first = told("25 07:11", "25 18:40")
    before = life_of("past-best", "birch is past its best", "birch", "25 04:13", 5, 60)
    (life,) = lives([late, seen("25 19:10", Sight.MOST)])
    known = replace(a_record(told=(first,), alarms=before), life=life)
    assert of(known, "start")[0].endswith(
        "(noted Sun 07:10). When that was noted, ready was expected Sun 18:40, 8 chances in 10 between 16:40 and 21:40."
    )
    assert chronicle(known).summary[1] == "Most swam by Sun 19:10, 30 min later than told at first, inside the range."
    assert of(known, "alarm") == []
    (over,) = lives([replace(START, logged=END + HOUR), replace(seen("25 19:10", Sight.MOST), logged=END + HOUR)])
    after = replace(known, life=over, told=(told("25 22:10", "25 18:40"),))
    assert chronicle(after).summary[1] == "Most swam by Sun 19:10."


def test_alarms_of_others_are_not_its_own() -> None:
    """Only what rang about the batch, its vessel or the probes in it, while it lived."""
    mine = life_of("hatch-late", "birch will be ready late", "birch", "25 04:13", 5, 60)
    others = life_of("hatch-late", "ash will be ready late", "ash", "25 04:13", 5, 60)
    known = a_record(alarms=(*mine, *others))
    assert of(known, "alarm") == ["Alarm: birch will be ready late. Answered after 5 min, over after 1 h."]


def test_small_and_slow_moves_of_a_forecast_are_few_sentences() -> None:
    """Less than half an hour is not told, and however it swings, five moves at most."""
    calm = a_record(told=tuple(told(f"25 {hour:02d}:30", f"25 18:{40 + hour % 3}") for hour in range(4, 16)))
    assert of(calm, "told") == []
    swinging = a_record(told=tuple(told(f"25 {h:02d}:30", f"25 {17 if h % 2 else 19}:10") for h in range(4, 16)))
    assert len(of(swinging, "told")) <= 5
    gone = a_record(
        told=(told("24 21:15", "25 18:40"), ReadyTold(at("25 08:00"), None, None, None), told("25 11:00", "25 20:00"))
    )
    assert of(gone, "told") == ["Ready was not in sight any more.", "Ready came in sight again, at 20:00."]


def test_a_move_by_the_water_alone_says_so() -> None:
    """Where no spell, no air and no look explains it, the temperatures that the estimates were made of do."""
    known = a_record(told=(told("24 21:15", "25 18:40"), told("25 08:00", "25 19:40", water=25.1)))
    assert of(known, "told") == ["Ready moved 1 h later, to 19:40: the water went from 26.0 to 25.1 °C."]


def test_water_that_began_cold_and_readings_that_failed_to_come_are_told() -> None:
    """A cold pour is no cold spell, and silence is not taken for calm."""
    levels = [one for one in water(cold=("24 21:10", "24 23:40")) if not at("25 05:00") < one.time < at("25 08:00")]
    known = a_record(water=tuple(levels))
    assert of(known, "water") == ["The water began cold, at 22.1 °C, and was up by 23:40."]
    assert of(known, "silence") == ["No water temperature came in until 08:00, for 3 h."]
    bare = a_record(water=(), air=None)
    assert chronicle(bare).summary[-1] == "No water temperature is on record."


def test_nothing_of_the_story_depends_on_now_or_on_the_order_of_reading() -> None:
    """The same record gives the same story, also with its entries handed over in another order."""
    looks = (seen("25 16:55", Sight.FIRST), seen("25 19:10", Sight.SOME))
    one, other = a_record(*looks), a_record(*reversed(looks))
    assert chronicle(one) == chronicle(other)


def test_what_went_into_the_cold_is_told_after_the_harvest() -> None:
    """The story ends where the animals went, and with the verdict."""
    chilled = Chill(END + MINUTE, END + MINUTE, "fridge", 90_000.0, 0.5, batch=NAME)
    known = a_record(Harvest(END, END, NAME), deeds=(chilled,), told=(told("24 21:15", "25 20:40"),))
    assert [kind for kind, _ in texts(known)][-3:] == ["harvest", "chill", "verdict"]
    assert of(known, "chill") == ["90 000 of them went into fridge, to be kept cold."]


def test_a_bad_night_of_everything_stays_a_page() -> None:
    """Stops, weak air, cold, a swinging forecast, alarms of every kind, work and undone entries: 25 sentences at most."""
    undo = Undo(at("25 09:02"), at("25 09:02"), "seen", NAME, at("25 09:00"))
    titles = ("hatch-late", "probe-suspect", "no-news", "probe-stuck", "probe-out", "best-ending", "unlogged", "ready")
    alarms = [
        move for n, rule in enumerate(titles) for move in life_of(rule, rule, "birch", f"25 {6 + n:02d}:20", 2, 9)
    ]
    known = a_record(
        *(seen(f"25 {hour:02d}:50", what) for hour, what in ((13, Sight.NONE), (15, Sight.FIRST), (18, Sight.SOME))),
        Harvest(END, END, NAME),
        water=tuple(water(cold=("25 04:00", "25 07:00"))),
        air=tuple(air(*((f"25 {hour:02d}:10", 5) for hour in range(4, 12)), weak=("25 14:00", 60))),
        alarms=tuple(alarms),
        told=tuple(told(f"25 {hour:02d}:30", f"25 {17 if hour % 2 else 19}:10") for hour in range(4, 16)),
        deeds=tuple(
            Work(at(f"25 {h:02d}:00"), at(f"25 {h:02d}:00"), "birch", at(f"25 {h:02d}:20")) for h in range(6, 12)
        ),
        undone=((seen("25 09:00", Sight.MOST), undo),),
    )
    story = chronicle(known)
    assert len(story.sentences) <= 25
    assert len(story.summary) == 3
    assert {one.kind for one in story.sentences} >= {"start", "air", "water", "alarm", "work", "undone", "verdict"}
    assert story.sentences == tuple(sorted(story.sentences, key=lambda one: one.time))
