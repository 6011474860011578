"""Alarms about what is kept: nauplii in the cold, cysts in their tins."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_cysts, rules_store, tins
from monitor.core.model import MINUTE
from monitor.guide.air import AGAIN, AIR_DELAY
from monitor.guide.entry import MAINS, PRACTICE, Default, Entry, length, setting, table
from monitor.settings.stores import ColdStore

ENTRIES: Final = (
    Entry(
        "store-warm",
        "store",
        "The cold store is too warm",
        "medium",
        "What is kept in it lives off its yolk faster than you reckon with. The text says until when it is good as "
        "things are.",
        (
            "Shut its door; see that it runs.",
            "Move them where it is 2-4 C, or feed them at the next meal.",
        ),
        "It is not repeated. It is over, and told, when the store is cold again. An empty store never rings.",
        (
            Default(
                "level",
                f"above {setting(ColdStore, 'warm_above'):g} C",
                "below 10 C nauplii keep for a day under slight air (Ghent course, restated)",
                table("[[cold_store]]", "warm_above"),
            ),
            Default(
                "waits",
                length(rules_store.WARM_DELAY),
                f"an open door warms a probe, but not half a litre of water; {PRACTICE}",
            ),
            Default(
                "after something went in",
                length(rules_store.COOLING),
                f"it needs so long to cool; {PRACTICE}",
            ),
        ),
        "Put the probe into the water, not beside the door; or raise `warm_above` of the store.",
    ),
    Entry(
        "store-cold",
        "store",
        "The cold store is too cold",
        "medium",
        f"Near freezing nauplii die. Water with 25 g/L of salt freezes at about {rules_store.FREEZES_C:g} C.",
        (
            "Move them away from the back wall, to where it is 2-4 C.",
            "Turn the store warmer.",
            "See whether they still swim once they have warmed a little.",
        ),
        "It is not repeated. It is over, and told, when the store is warm enough.",
        (
            Default(
                "level",
                f"below {setting(ColdStore, 'cold_below'):g} C",
                "near freezing kills; 2-4 C was survived (J. Biol. Res. 2005, restated)",
                table("[[cold_store]]", "cold_below"),
            ),
            Default(
                "waits",
                length(rules_store.COLD_DELAY),
                f"the stroke of a compressor is over by then, and salt water is not yet frozen; {PRACTICE}",
            ),
        ),
        "Move the probe away from the back wall, or turn the store warmer by a degree.",
    ),
    Entry(
        "store-ending",
        "store",
        "What is in the store is near its end",
        "low; medium when oxygen may be the end",
        "By oxygen, by yolk or by age, whichever comes first, what you keep will soon be no good. A dense or cloudy "
        "store is bad "
        "sooner than reckoned.",
        (
            "Look and smell first.",
            "Feed it at the next meal, or throw it away. Don't feed old harvests.",
            "Note that the store is empty.",
        ),
        "It is told once, and ends when the store is noted as empty or filled anew.",
        (
            Default(
                "rings",
                f"{length(rules_store.ENDING_AHEAD)} before its end",
                f"one more meal can still be fed of it; {PRACTICE}",
            ),
            Default(
                "by oxygen",
                f"{length(rules_store.SUFFOCATING_AHEAD)} before it may be gone",
                f"the low end of its range; {PRACTICE}",
            ),
        ),
        "Chill less, or feed the store first; note when it is empty.",
    ),
    Entry(
        "store-air",
        "store",
        "The air in the cold store has stopped",
        f"medium; high with less than {length(rules_store.URGENT_MIN * MINUTE)} left",
        "What is kept open and aerated has no air. Cold animals breathe slowly: the minutes left are more than in a "
        "warm vessel.",
        (
            f"Look at pump, plug and tubing. {MAINS}",
            "Or spread them over wide shallow dishes.",
            "Or feed them now.",
        ),
        f"{AGAIN} It is over when air has run for 30 s.",
        (
            AIR_DELAY,
            Default(
                "looks ahead",
                length(rules_store.AIR_AHEAD),
                f"what comes later can be told later; {PRACTICE}",
            ),
        ),
        "If its probe flickers, widen its threshold and deadband.",
    ),
    Entry(
        "tin-falling",
        "tin",
        "A tin is getting weak",
        "low",
        "The newest batches of a tin hatched clearly worse than those before. Cysts lose strength once a tin is "
        "open, sooner when "
        "they get damp.",
        (
            "Sow more of it, or open another.",
            "Not sure that it is the tin? Count some drops at the next harvest (`swimup count`, or Count drops on the page).",
            "Order one if it is the last.",
            "Keep it dry, dark and cold; well closed.",
        ),
        "It is told once, when a batch has taught it. It ends when another tin is started in its place, it "
        "recovers, or it is left "
        "aside.",
        (
            Default(
                "left aside is",
                length(tins.UNUSED),
                f"a tin that nobody uses needs nobody; {PRACTICE}",
            ),
        ),
        "Start another tin.",
    ),
    Entry(
        "cysts-low",
        "tin",
        "A tin is nearly empty",
        "low",
        "By what was in the tin and what you started from it, little is left. Only for tins whose weight you told.",
        (
            "Order, or open another.",
            "More in it than the record says? Weigh it and note it: `swimup tin weigh`.",
        ),
        "It is told once, and ends when you tell that there is more in it.",
        (
            Default(
                "little is",
                f"less than {rules_cysts.BATCHES_LEFT} of its usual batches, or {rules_cysts.LOW_G:g} g while none "
                f"was started",
                f"about what is sown while a new tin is on its way; {PRACTICE}",
                "`low_below` in `[[lot]]`",
            ),
        ),
        "Weigh the tin and note it, or tell of what you bought.",
    ),
)
