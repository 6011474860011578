"""What a keeper may want to know of a sound configuration: nothing here is wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.model import Measures
from monitor.settings.stores import store_of
from monitor.settings.strains import find, nearest_strain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.settings.settings import Settings


def notices(settings: Settings) -> tuple[str, ...]:
    """Whole sentences, in the order of the configuration."""
    return tuple(_notices(settings))


def _notices(settings: Settings) -> Iterator[str]:
    for vessel in settings.vessels:
        has = {probe.measures for probe in settings.probes if probe.vessel == vessel.id}
        if Measures.WATER not in has:
            yield f'Vessel "{vessel.id}" has no water probe: nothing can be said of when its batches hatch.'
        if Measures.AIR not in has:
            yield f'Vessel "{vessel.id}" has no air probe: nobody is told when its air stops.'
    for store in settings.cold_stores:
        if not any(
            probe.measures is Measures.STORE and store_of(probe, settings.cold_stores) == store.id
            for probe in settings.probes
        ):
            yield f'Cold store "{store.id}" has no probe: nobody is told when it gets warm or freezes.'
    for lot in settings.lots:
        if lot.strain and find(lot.strain) is None:
            text = f'Lot "{lot.id}": the strain "{lot.strain}" is not in the table. {nearest_strain(lot.strain)}'
            yield text.rstrip()
    if not settings.channels:
        yield "There is no [[channel]]: alerts are on the page and on MQTT, and reach no phone."
