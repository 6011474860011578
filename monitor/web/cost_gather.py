"""Reads out of the record what reckoning costs needs. It blocks, so it wants a thread of its own. Raises StoreError."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.cost import Account, Offer, TinFacts, account, offers
from monitor.core.log import Start
from monitor.core.log_food import Tin
from monitor.core.tin_facts import facts
from monitor.core.undo import standing_of
from monitor.settings import strains

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from monitor.core.food import Costs
    from monitor.core.log import Standing
    from monitor.core.model import Ms
    from monitor.store.record import Record


def tins_of(record: Record, bench: Mapping[str, Any], entries: Iterable[Standing]) -> dict[str, TinFacts]:
    """All tins that are configured, were told of, or used."""
    configured = {one["id"]: one for one in bench.get("lots") or []}
    told = {entry.lot: entry for entry in entries if isinstance(entry, Tin)}
    used = {entry.lot: None for entry in entries if isinstance(entry, Start)}
    known = record.kept("lot/")
    found = {}
    for lot in dict.fromkeys([*configured, *told, *used]):
        spec, tin = configured.get(lot, {}), told.get(lot)
        name = (tin.strain if tin is not None else "") or spec.get("strain") or ""
        strain = strains.find(name)
        found[lot] = facts(
            lot,
            tin,
            known.get(f"lot/{lot}"),
            name if strain is None else strain.name,
            spec.get("label_hatch_percent"),
            spec.get("cysts_per_g") or (None if strain is None else strain.cysts_per_g),
        )
    return found


def gather(record: Record, bench: Mapping[str, Any], costs: Costs, since: Ms) -> tuple[Account, tuple[Offer, ...]]:
    entries = standing_of(noted.entry for noted in record.entries())
    tins = tins_of(record, bench, entries)
    return account(entries, tins, costs, bench["now_ms"], bench["timezone"], since), offers(tins.values())
