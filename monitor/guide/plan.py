"""What the plan of food asks for."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_plan
from monitor.guide.entry import PRACTICE, Default, Entry, length

ENTRIES: Final = (
    Entry(
        "start-due",
        "vessel",
        "A batch is to be started",
        "low",
        "By the plan of food a batch is to be started in this vessel now, so that it is ready for the meals that the text "
        "names. It says until when that can wait. In its last hour it is of medium priority, unless the batch is in reserve.",
        (
            "Mix the water, weigh the cysts, start the batch as the text says.",
            "Note the start: one tap on the page Food takes the planned values, and others can be typed.",
            "Not now? Say so on the page: the plan does without it for half a day.",
        ),
        "It is told once, by day: by the next morning's digest it would be too late. It ends when a batch is started in the "
        "vessel, when you say not now, or when a newer plan needs it no more.",
        (
            Default(
                "told ahead by",
                length(rules_plan.AHEAD),
                f"water is mixed and warmed before the cysts go in; {PRACTICE}",
            ),
            Default("weighs more from", f"{length(rules_plan.SOON)} before the last hour", PRACTICE),
        ),
        "Say in `[food]` when you are there: nothing is planned for other hours. `plan = false` plans nothing.",
    ),
)
