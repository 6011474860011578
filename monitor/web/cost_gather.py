"""Reads out of the record what reckoning costs needs. It blocks, so it wants a thread of its own. Raises StoreError."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.cost import Account, account
from monitor.core.cost_batch import TinFacts
from monitor.core.cost_offers import Offer, offers
from monitor.core.undo import standing_of
from monitor.settings import strains

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.food import Costs
    from monitor.core.model import Ms
    from monitor.store.record import Record


def tin_facts(tin: Mapping[str, Any]) -> TinFacts:
    """Of a tin as the bench tells it; a strain by its full name where the table of strains has it."""
    strain, share = strains.find(tin["strain"]), tin["hatch_share"]
    return TinFacts(
        id=tin["id"],
        price_per_g=tin["price_per_g"],
        cysts_per_g=tin["cysts_per_g"],
        share=(share["lo"], share["mid"], share["hi"]),
        strain=tin["strain"] if strain is None else strain.name,
        batches=tin["batches"],
    )


def gather(record: Record, bench: Mapping[str, Any], costs: Costs, since: Ms) -> tuple[Account, tuple[Offer, ...]]:
    entries = standing_of(noted.entry for noted in record.entries())
    tins = {tin["id"]: tin_facts(tin) for tin in bench.get("tins") or []}
    return account(entries, tins, costs, bench["now_ms"], bench["timezone"], since), offers(tins.values())
