"""Alarms about a batch that waits for its keeper."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_batch, rules_forgotten
from monitor.guide.entry import PRACTICE, Default, Entry, length

ENTRIES: Final = (
    Entry(
        "ready",
        "vessel",
        "Ready to harvest",
        "medium",
        "90 % of what will hatch has hatched, at the middle of the range. The text says how many, and until when "
        "they are at "
        "their best: newly hatched they carry most yolk, and are smallest.",
        (
            "Air off, let it settle; say so on the page.",
            "Harvest from the bottom with a light beside it; leave shells and cysts behind.",
            "Rinse, feed; chill the surplus at 2-4 C under slight air.",
            "Log the harvest, with the share that hatched if you counted.",
        ),
        "It is told once, and is no alarm in the burden report. Harvest or discard ends it without a word.",
        (
            Default(
                "ready is",
                "the middle of the range of the 90 % point",
                "later, the first ones starve; earlier, many are still in the shell",
            ),
        ),
        "Take it out of service for a vessel that you look into anyway.",
    ),
    Entry(
        "best-ending",
        "vessel",
        "The best time ends soon",
        "medium",
        "A batch that is ready and was not harvested will soon be past its best for small fry.",
        (
            "Harvest it now, as for ready.",
            "No time: cool the vessel; cold slows the loss.",
        ),
        "It is told once. Then past-best follows if nothing is logged.",
        (
            Default(
                "rings",
                f"{length(rules_batch.ENDS_SOON)} before the end",
                f"enough to settle, harvest, rinse and feed; {PRACTICE}",
            ),
            Default(
                "not within",
                f"{length(rules_batch.APART)} after ready was told",
                f"that one said until when; {PRACTICE}",
            ),
        ),
        "Log harvests when you make them; on the page it is two taps.",
    ),
    Entry(
        "past-best",
        "vessel",
        "Past its best",
        "low",
        "The nauplii have used much of their yolk, or have grown too big for the smallest mouths.",
        (
            "Harvest for fish with bigger mouths, or enrich them before they go to fry.",
            "Throw away what is thin or smells. Don't feed old harvests.",
            "Log what you did.",
        ),
        "It is told once and stands until something is logged: cooler water gives no yolk back.",
        (
            Default(
                "waits",
                length(rules_batch.ON_ITS_WAY),
                f"who harvests a little late need not be told so; {PRACTICE}",
            ),
        ),
        "Start less, or later: the bench says for which meal a batch will be ready.",
    ),
    Entry(
        "unlogged",
        "vessel",
        "What became of the batch?",
        "low",
        "A batch is long past its best and nothing was logged of it. Most often it was harvested and nobody wrote "
        "it down. Until you "
        "say, its alarms go on.",
        (
            "Log the harvest or the discard, with the time when it was.",
            "Still in there? Log what you see.",
        ),
        f"It is asked once. Without a word the batch is closed {length(rules_forgotten.CLOSE_AFTER)} past its best, "
        f"not sooner "
        f'than {length(rules_forgotten.ANSWER)} after it was asked for: "ended, not logged". It then teaches its '
        f"tin nothing, and "
        "the vessel is free.",
        (
            Default(
                "asks",
                f"{length(rules_forgotten.ASK_AFTER)} past its best and without a word",
                f"a keeper looks in at least twice a day; {PRACTICE}",
            ),
        ),
        "Log harvests when you make them.",
    ),
)
