"""Alarms about water: cold, heat, and a hatch that comes too late."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_heat, rules_late, rules_water
from monitor.core.progress import DEADLY_C
from monitor.guide.air import AGAIN
from monitor.guide.entry import MAINS, PRACTICE, Default, Entry, length, setting, table
from monitor.settings.models import Alarms, Vessel

DEADBAND: Final = Default(
    "ends beyond the limit by",
    f"{setting(Alarms, 'deadband'):g} C, for {length(setting(Alarms, 'off_delay'))}",
    f"so that water that hovers at its limit rings once; {PRACTICE}",
    f"{table('[alarms]', 'deadband')}, `off_delay`",
)
DELAY: Final = Default(
    "waits",
    length(setting(Alarms, "on_delay")),
    f"a litre of water changes slowly; a shorter blip is the probe's; {PRACTICE}",
    table("[alarms]", "on_delay"),
)

ENTRIES: Final = (
    Entry(
        "cold-snap",
        "vessel",
        "The water is cold, or turns cold",
        "medium",
        "Cold does not kill cysts, it makes them late. It rings by level, by a fast fall, or by consequence: the "
        "hatch slips past a "
        "feeding time because it is colder than was foreseen. The text says from when to when, and which meal is "
        "missed.",
        (
            "See what happened: heater off, window open, lamp out.",
            f"Move the vessel to a warmer place, or heat it. {MAINS} A heater never runs dry.",
            "Too late for the meal: take it from the reserve, or start another batch in a warm place.",
        ),
        "It is not repeated. It is over when the water is back or the batch no longer depends on it; you are told.",
        (
            Default("level", f"below {setting(Vessel, 'cold_below'):g} C", PRACTICE, table("[[vessel]]", "cold_below")),
            Default(
                "fall",
                f"{setting(Vessel, 'fall'):g} C within {length(setting(Vessel, 'fall_within'))}",
                f"no litre of water cools so fast by itself: a heater failed or a window opened; {PRACTICE}",
                f"{table('[[vessel]]', 'fall')}, `fall_within`",
            ),
            Default(
                "consequence",
                f"ready {length(rules_water.SLIP)} later and past a meal, {rules_water.COLDER_C:g} C colder than "
                f"foreseen",
                f"less is within what any night does; {PRACTICE}",
                table("[site]", "feeding_times"),
            ),
            DELAY,
            DEADBAND,
        ),
        "Raise its `deadband` or lower `cold_below` of the vessel; for a room that cools each night, raise `fall` too.",
    ),
    Entry(
        "too-hot",
        "vessel",
        "The water is too hot",
        "medium; high when animals or the batch are at stake within hours",
        f"Above about {rules_heat.STOPS_C:g} C development stops; cysts in water die above {DEADLY_C:g} C (FAO "
        f"Fisheries "
        "Technical Paper 428, annex 4, restated). Nauplii die earlier; from which temperature on is an assumption. "
        "The text says "
        "when the point of no return comes at this rate.",
        (
            f"Switch the heater off at the wall. {MAINS}",
            "Take it out of the sun.",
            "Float a sealed bag of cool water in it; no ice in the water itself.",
            "Keep the air running: warm water holds less oxygen.",
        ),
        f"{AGAIN} It is over when the water is back; you are told.",
        (
            Default("level", f"above {setting(Vessel, 'hot_above'):g} C", PRACTICE, table("[[vessel]]", "hot_above")),
            Default(
                "point of no return",
                f"{DEADLY_C:g} C for cysts, {rules_heat.NAUPLII_C:g} C once they swim",
                "the first as above, the second an assumption",
            ),
            DELAY,
            DEADBAND,
        ),
        "Find what heats it. If it is right so warm, raise `hot_above` of the vessel, but not to 33 C.",
    ),
    Entry(
        "hatch-late",
        "vessel",
        "The batch will be too late for a meal",
        "medium; low where no feeding times are near",
        "The batch is slower than what was reckoned at its start, not through cold or lack of air (those say so "
        "themselves): most "
        "often a slow or old tin.",
        (
            "Plan that meal from the reserve, or start a second batch now.",
            "Bring this one to 25-28 C; it hatches fastest there.",
            "Look into it and log what you see: the forecast learns from it.",
        ),
        "It is not repeated. It is over when the batch is in time again or hatched. The tin is remembered as a "
        "slower one.",
        (
            Default(
                "late is",
                f"{length(rules_late.SLIP)} later and past the meal; {length(rules_late.SLIP_ANYHOW)} where no "
                f"meals are set",
                f"less is within what any batch does; {PRACTICE}",
                table("[site]", "feeding_times"),
            ),
            Default(
                "waits",
                f"{length(setting(Alarms, 'on_delay') + rules_late.AFTER_ITS_CAUSE)}",
                "an alarm that says the cause comes first",
                table("[alarms]", "on_delay"),
            ),
        ),
        "Log what you see of its batches: a tin that is known to be slow is reckoned slow from the start.",
    ),
)
