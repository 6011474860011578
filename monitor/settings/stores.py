"""A cold store: where harvested nauplii are kept. Its checks against the rest of the configuration are here too."""

from typing import TYPE_CHECKING, Annotated

from monitor.core import model as core
from monitor.core.model import Measures
from monitor.settings.base import Section, option
from monitor.settings.errors import nearest, quoted
from monitor.settings.forms import Quantity
from monitor.settings.names import Identifier
from monitor.settings.units import Kind, plain, told

if TYPE_CHECKING:
    from monitor.settings.draft import Draft, Part
    from monitor.settings.probes import Probe

OF_A_STORE = (Measures.STORE, Measures.AIR)
"""What a probe of a cold store can measure."""


class ColdStore(Section):
    """A place where harvested nauplii are kept cold, one content at a time. A refrigerator with two bags is two of them."""

    id: Annotated[str, Identifier()] = option("Short name; not that of a vessel.", example="fridge")
    warm_above: Annotated[float, Quantity(Kind.TEMPERATURE, -5.0, 30.0)] = option(
        "Warmer than this is an alarm while something is in it. Nauplii keep below 10 C up to 24 h under slight aeration "
        "(Ghent course).",
        default=10.0,
    )
    cold_below: Annotated[float, Quantity(Kind.TEMPERATURE, -5.0, 30.0)] = option(
        "Colder than this is an alarm while something is in it: near freezing they die. At 2-4 C over 90 % lived for 48 h "
        "(KKT1, J. Biol. Res. 2005).",
        default=1.0,
    )

    def spec(self) -> core.ColdStoreSpec:
        return core.ColdStoreSpec(self.id, self.warm_above, self.cold_below)


def check_cold_stores(draft: "Draft", deadband: float) -> None:
    """Limits apart by more than the deadband, and ids that no vessel has."""
    vessels = {part.value.id for part in draft.vessel if part.sound("id")}
    for part in draft.cold_store:
        if part.sound("id") and part.value.id in vessels:
            draft.wrong_in(part, "id", f"{quoted(part.value.id)}, which is a vessel", "an id that no vessel has")
        if part.sound("warm_above", "cold_below") and part.value.warm_above - part.value.cold_below <= deadband:
            warm, cold = (told(value, Kind.TEMPERATURE) for value in (part.value.warm_above, part.value.cold_below))
            key = "warm_above" if "warm_above" in part.given else "cold_below"
            further = f"warm_above higher by more than the deadband of {plain(deadband)} C"
            draft.wrong_in(part, key, f"warm_above {warm} and cold_below {cold}", further)


def check_store_of(draft: "Draft", part: "Part[Probe]") -> None:
    """The store that a probe names, or should name."""
    if not part.sound("measures", "store"):
        return
    measures, store = part.value.measures, part.value.store
    known = sorted({one.value.id for one in draft.cold_store if one.sound("id")})
    if store is None:
        if measures is Measures.STORE and len(known) > 1:
            draft.wrong_in(part, "store", "nothing", f"the one whose temperature it measures: {', '.join(known)}")
    elif measures not in OF_A_STORE:
        draft.wrong_in(
            part, "store", f"store with measures = {quoted(measures)}", 'it with measures = "store" or "air" only'
        )
    elif measures is Measures.AIR and "vessel" in part.given:
        draft.wrong_in(part, "store", "vessel and store", "one of the two: whose air it measures")
    elif not known:
        draft.wrong_in(part, "store", quoted(store), "the id of a [[cold_store]]; there is none")
    elif store not in known and all(one.sound("id") for one in draft.cold_store):
        draft.wrong_in(part, "store", quoted(store), ", ".join(known), nearest(store, known))


def store_of(probe: "Probe", stores: tuple[ColdStore, ...]) -> str | None:
    """The store a probe belongs to; a store probe that names none belongs to the only one there is."""
    if probe.measures not in OF_A_STORE:
        return None
    if probe.store is None and probe.measures is Measures.STORE and len(stores) == 1:
        return stores[0].id
    return probe.store
