"""Alarms about the meals to come."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_food
from monitor.guide.entry import PRACTICE, Default, Entry, length

ENTRIES: Final = (
    Entry(
        "food-short",
        "site",
        "A meal may be short",
        "medium",
        "By what is under way, in store and planned, a meal of the next day and a half is likely to get too little, and no "
        "batch that could be started comes in time. The text says which meal, how many are missing and what it is due to.",
        (
            "Give a little less at each meal until then, rather than nothing at one.",
            "Buy or borrow nauplii, or give something else that they take.",
            "Start what the plan says: it is for the meals after.",
            "Was something harvested, chilled or fed that is not written down? Write it down.",
        ),
        "It is not repeated. It is over, and told, when the meals to come are likely enough to be full. A meal that a start "
        "can still save rings nothing here: the plan reminds you of that start.",
        (
            Default(
                "looks ahead",
                length(rules_food.AHEAD),
                f"a batch takes about that long; {PRACTICE}",
            ),
            Default(
                "rings above",
                f"{100 * rules_food.LIKELY:g} % that a meal gets less than nine tenths of what it needs",
                f"a single batch fails more rarely than that; {PRACTICE}",
            ),
            Default(
                "ends below",
                f"{100 * rules_food.CLEAR_SHARE * rules_food.LIKELY:g} %",
                f"half of it, so that it does not come and go; {PRACTICE}",
            ),
            Default(
                "waits",
                length(rules_food.ON_DELAY),
                f"who writes down a harvest is not done until it is in its store; {PRACTICE}",
            ),
        ),
        "Write down what is fed, harvested and chilled; count the larvae anew when some were lost.",
    ),
)
