"""Alarms about air."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_air
from monitor.core.alarms import REPEAT, REPEAT_LONGEST
from monitor.guide.entry import MAINS, PRACTICE, Default, Entry, length, setting, table
from monitor.settings.models import Alarms

AGAIN: Final = (
    f"While it is urgent and nobody acknowledges it, it is told again every {length(REPEAT)} (less often while "
    f"hours are left), "
    f"until the time is up, or for {length(REPEAT_LONGEST)} where no time is known. "
    "Acknowledged, it comes back at half of the time that was left then if the trouble still stands."
)
AIR_DELAY: Final = Default(
    "waits",
    f"{length(setting(Alarms, 'air_on_delay'))}, or a tenth of the minutes left if that is less",
    f"a stop of seconds needs nobody, and a delay must not eat the time to act; {PRACTICE}",
    table("[alarms]", "air_on_delay"),
)
SETTLING: Final = Default(
    "settling",
    length(setting(Alarms, "settling")),
    f'air off on purpose before a harvest, after "Settling" on the page; {PRACTICE}',
    table("[alarms]", "settling"),
)

ENTRIES: Final = (
    Entry(
        "air-stopped",
        "vessel",
        "The air has stopped",
        "medium before the hatch, high after it",
        "No air reaches a vessel with a batch. Cysts only pause without oxygen and hatch later. Hatched nauplii use "
        "up what is "
        "dissolved and die: the alarm gives the minutes left as a range, and its low end is what counts.",
        (
            "Go there. See whether anything bubbles.",
            "Nothing bubbles: stir gently or blow air in by hand. That gains minutes.",
            f"Look at plug, switch and pump, then at the tubing. {MAINS}",
            "No air to be had: pour the batch into wide shallow dishes, or harvest and feed it.",
        ),
        f"{AGAIN} It is over when air has run for 30 s.",
        (
            AIR_DELAY,
            SETTLING,
            Default(
                "settling ends early",
                f"with less than {rules_air.LEAVES_MIN:g} min of oxygen left for what has hatched",
                f"work must not cost the batch; {PRACTICE}",
            ),
        ),
        'Say "Settling" before you switch the air off. If the probe flickers, widen its threshold and deadband.',
    ),
    Entry(
        "air-weak",
        "vessel",
        "The air is weak",
        f"medium; high when animals swim and the oxygen lasts less than {length(rules_air.WEAK_URGENT)}",
        "Air runs, but gives too little: by what is known, the oxygen may fall below 2 mg/L before the batch is "
        "harvested. How much "
        "a weak stream still gives is an assumption, so the range is wide.",
        (
            "Look for a kinked hose, a clogged stone, a torn pump membrane.",
            f"Swap the pump if you have another. {MAINS}",
            "Stir gently meanwhile.",
        ),
        f"{AGAIN} It gives way to air-stopped when the air stops altogether.",
        (
            Default(
                "looks ahead",
                f"to the harvest, at most {length(rules_air.WEAK_AHEAD)}",
                f"a keeper looks in twice a day; what comes later can be told later; {PRACTICE}",
            ),
            Default(
                "waits",
                f"{length(setting(Alarms, 'on_delay'))}, or a tenth of the time left if that is less",
                PRACTICE,
                table("[alarms]", "on_delay"),
            ),
            Default("weak is", "told by the probe, or set by you", "every pump differs", "`weak_below` in `[[probe]]`"),
        ),
        "Lower `weak_below` of the probe if the batches do well with what it calls weak.",
    ),
)
"""In the order in which they are read."""

NEWS: Final = (
    Entry(
        "no-news",
        "vessel",
        "Nothing is heard of the air over hatched nauplii",
        "high; medium when so few animals have oxygen for a day or more",
        "No air probe of this vessel has told anything usable for three of its periods and a minute, and animals "
        "may be swimming. "
        "The air may well be running. If it has stopped, the minutes run since the last good reading; a power cut "
        "takes the pump "
        "and its probe together. Nothing that holds back other alarms holds back this one.",
        (
            "Go and look at the air first: pump, plug, bubbles.",
            f"No air: stir gently, blow air in by hand. {MAINS}",
            "Air runs: look at the probe's power, its cable, the Wi-Fi, and the broker.",
            "Acknowledge it when you have looked.",
            "Only the probe is broken: take this alarm out of service until it is mended, and look at the bubbles yourself.",
        ),
        f"{AGAIN} It is over when the probe tells something usable.",
        (
            Default(
                "waits",
                "three of the probe's periods and 1 min",
                f"one lost message is nothing; {PRACTICE}",
                "`every` in `[[probe]]`",
            ),
            SETTLING,
        ),
        "Give the probe a steadier link, or tell the period at which it really reports in `every`.",
    ),
)
