"""What food costs, in the words of page and command line. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.cost_offers import apart
from monitor.core.wording import number, whole

if TYPE_CHECKING:
    from monitor.core.cost import Account
    from monitor.core.cost_offers import Offer

SPANS: Final = (
    ("30", "the last 30 days"),
    ("90", "the last 90 days"),
    ("365", "the last year"),
    ("", "all that is known"),
)
ENDINGS: Final = {"harvest": "harvested", "discard": "thrown away", "lapse": "nobody wrote", "": "under way"}


def money(amount: float | None, currency: str) -> str:
    """``1.28 EUR``; what is less than a hundredth is not nothing."""
    if amount is None:
        return ""
    digits = f"{amount:.2f}" if amount >= 0.995 or amount == 0 else f"{amount:.2g}"
    return f"{digits} {currency}".strip()


def headline(told: Account, currency: str) -> str:
    """One sentence: what a million costs, and of how much."""
    ended = [one for one in told.batches if one.how]
    if not ended:
        return "No batch has ended yet: what a million young brine shrimp cost stands here after the first harvest."
    failed = sum(one.failed for one in ended)
    many = f"{len(ended)} batch{'' if len(ended) == 1 else 'es'}"
    lost = f", {failed} of them thrown away" if failed else ""
    if told.per_million is None:
        why = "no price is known" if told.unpriced else "nothing was harvested"
        return f"{many}{lost}: what a million cost can't be told, {why}."
    fed = ""
    if told.per_million_fed is not None and told.wasted > 0:
        fed = f"; one that was fed, with what was kept cold for nothing, {money(told.per_million_fed, currency)}"
    return f"A million young brine shrimp cost {money(told.per_million, currency)}{fed}. {many}{lost}."


def cheapest(offers: tuple[Offer, ...], currency: str) -> str:
    """Which tin costs least for what swims of it, and whether that is sure; empty where there are not two to compare."""
    if len(offers) < 2:
        return ""
    first, second = offers[0], offers[1]
    told = f"{first.lot} costs least for what swims of it: {money(first.mid, currency)} a million, {second.lot} "
    told += f"{money(second.mid, currency)}"
    if apart(first, second):
        return f"{told}."
    return f"{told}. Not sure yet: their ranges overlap; each batch that is counted tells more."


def missing(told: Account) -> str:
    """What is to be done about prices that nobody told."""
    if not told.unpriced:
        return ""
    return (
        f"No price is known of {', '.join(told.unpriced)}: its cysts count as free here. Tell what the tin cost and what was in "
        "it, or set cysts_per_g under [costs] in the configuration."
    )


def million(nauplii: float) -> str:
    return f"{number(nauplii / 1e6, 2)} million" if nauplii >= 1e6 else whole(nauplii)
