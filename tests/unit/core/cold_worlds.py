"""A shed with a cold store, its probe and its aeration."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.log import Chill, Emptied
from monitor.core.model import HOUR, MINUTE, Air, ColdStoreSpec, Measures, Ms, ProbeSpec, SiteSpec
from tests.unit.core.worlds import WORD, Shed, site

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.stores import ColdStore


def cold_site(*, probes: bool = True, **changes: Any) -> SiteSpec:
    """A store called fridge whose probe may jump as air does; the vessel ash has no probes."""
    where = site(probes={}, cold_stores={"fridge": ColdStoreSpec("fridge")}, **changes)
    if probes:
        for name, measures in (("cold", Measures.STORE), ("cold-air", Measures.AIR)):
            where.probes[name] = ProbeSpec(name, measures, None, MINUTE, -30, 60, 100.0, WORD, "fridge")
    return where


class ColdShed(Shed):
    """Its store is at 4 C and its pump runs, unless told otherwise."""

    @staticmethod
    def of(where: SiteSpec | None = None, **content: Any) -> ColdShed:
        """A store that was filled just now, after an hour of good cold."""
        shed = ColdShed(where or cold_site())
        shed.keep(HOUR)
        if content:
            shed.chill(**content)
        return shed

    @property
    def store(self) -> ColdStore:
        return self.engine.state.cold_stores["fridge"]

    def chill(self, nauplii: float = 200_000, litres: float = 0.5, hours_ago: float = 0.0, **more: Any) -> None:
        values: dict[str, Any] = {"aerated": more.get("gas", "open") == "open", **more}
        self.do(Chill(self.now - round(hours_ago * HOUR), self.now, "fridge", nauplii, litres, **values))

    def empty(self) -> None:
        self.do(Emptied(self.now, self.now, "fridge"))

    def keep(
        self,
        length: Ms,
        celsius: float | Callable[[float], float] | None = 4.0,
        air: bool | Air | None = True,
        every: Ms = MINUTE,
    ) -> None:
        """The store's probes tell once a period; ``celsius`` may be of hours from now, ``None`` is silence."""
        begin, end = self.now, self.now + length
        while self.now < end:
            if celsius is not None and "cold" in self.site.probes:
                self.say("cold", celsius((self.now - begin) / HOUR) if callable(celsius) else celsius)
            if air is not None and "cold-air" in self.site.probes:
                self.say("cold-air", air)
            self.wait(min(every, end - self.now))
