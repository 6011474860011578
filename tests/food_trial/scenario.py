"""Sixty days of a spring in a spare room: four vessels, three tins, a refrigerator, adults, and two spawnings.

What is here is known to everybody: keeper, monitor and judge. What is true beside it ``world``, ``fish`` and ``cold`` draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.food import Costs, FishSpec, StrainSpec
from monitor.settings.loader import from_document
from simulator.population.outdoors import TIMEZONE

if TYPE_CHECKING:
    from monitor.core.model import Ms, SiteSpec

ZONE: Final = ZoneInfo(TIMEZONE)
FIRST: Final = datetime(2013, 3, 4, 0, 0, tzinfo=ZONE)  # the night of the change to summer time is in it
DAYS: Final = 60
RUN_IN: Final = 3  # days before them, in which the jars are filled; their meals do not count
LEAD_DAYS: Final = 4  # days before those, of which only the probes tell
START: Final[Ms] = round(FIRST.timestamp() * 1000)

FEEDING: Final = (7 * 60 + 30, 13 * 60, 19 * 60)  # local minutes
THERE: Final = (7 * 60, 22 * 60)
LOOKS: Final = (7 * 60, 10 * 60, 12 * 60 + 30, 16 * 60, 18 * 60 + 30, 21 * 60 + 30)
"""When he looks into every vessel, with or without a monitor; common practice, no source."""

RINSED: Final = 0.9  # of what swims is kept when shells are separated; common practice, no source
SALINITY_G_L: Final = 25.0
FULL: Final = 0.9  # of its need makes a meal full; common practice, no source


@dataclass(frozen=True, slots=True)
class Vessel:
    """``lift_c``: a weak heater warms it by so much above its room, never above ``SET_C``."""

    id: str
    litres: float
    lift_c: float


SET_C: Final = 26.5
VESSELS: Final = (
    Vessel("ash", 1.5, 0.0),
    Vessel("birch", 1.5, 0.0),
    Vessel("cedar", 2.0, 3.5),
    Vessel("elm", 2.0, 3.5),
)
MOST_G_L: Final = 5.0  # below 20 L (secondary handbook)
STORES: Final = ("jar-1", "jar-2", "jar-3", "jar-4", "jar-5", "jar-6")


@dataclass(frozen=True, slots=True)
class Tin:
    """A tin as it was bought. ``spoils``: the day from which on it goes bad."""

    id: str
    strain: str
    label_percent: float
    price_per_g: float
    length_um: float
    cysts_per_g: float
    grams: float = 450.0
    spoils: int | None = None


TINS: Final = (
    # Lengths: Vanhaecke & Sorgeloos 1980, restated. Cysts in a gram and prices: invented, of the usual order.
    Tin("tin-small", "san-francisco-bay", 85.0, 0.50, 428.0, 300_000.0),
    Tin("tin-large", "great-salt-lake", 80.0, 0.22, 486.0, 250_000.0),
    Tin("tin-cheap", "great-salt-lake", 80.0, 0.17, 486.0, 250_000.0, spoils=27),
)

KILLIFISH: Final = FishSpec(
    id="annual-killifish",
    name="Annual killifish",
    ration=500.0,  # Acta Sci. Anim. Sci. 2020
    growth_per_day=0.19,  # 15-23 % a day
    meals=3,
    largest_um=None,
    largest_growth_um=0.0,
    swim_up_days=14.0,
    swim_up_c=24.0,
    swim_up_base_c=12.0,
    swim_up_log_sd=0.10,
    finer_days=0.0,
    wean_days=18.0,  # 14-21 days
)
GOURAMI: Final = FishSpec(
    id="honey-gourami",
    name="Honey gourami",
    ration=150.0,  # as of other small larvae (Int. J. Fish. Aquac., Pyrrhulina brevis); for this one common practice, no source
    growth_per_day=0.17,
    meals=3,
    largest_um=440.0,  # so that only small nauplii fit at first; common practice, no source
    largest_growth_um=8.0,
    swim_up_days=4.0,
    swim_up_c=27.0,
    swim_up_base_c=14.0,
    swim_up_log_sd=0.10,
    finer_days=6.0,
    wean_days=20.0,
)
FISH: Final = {spec.id: spec for spec in (KILLIFISH, GOURAMI)}


@dataclass(frozen=True, slots=True)
class Spawning:
    """``larvae``: how many the keeper expects; ``day`` and ``hour`` of the spawning."""

    id: str
    fish: FishSpec
    day: int
    hour: int
    larvae: float


SPAWNINGS: Final = (Spawning("killi-1", KILLIFISH, 5, 10, 40.0), Spawning("gourami-1", GOURAMI, 25, 17, 110.0))
FEW_DAYS: Final = 5
SOON: Final = (Spawning("killi-1", KILLIFISH, -10, 10, 40.0),)
"""For a run of a few days: they swim up at its beginning."""
ADULTS: Final = ("adults", 12_000.0, 2)  # nauplii a day, in so many meals


def at(day: int, minutes: int) -> Ms:
    """The instant of a local wall-clock time; days counted from 0."""
    there = datetime.combine(FIRST.date() + timedelta(days=day), datetime.min.time(), tzinfo=ZONE)
    there = there.replace(hour=minutes // 60, minute=minutes % 60)
    return round(there.astimezone(UTC).timestamp() * 1000)


def clock(time: Ms) -> tuple[int, int]:
    """Day, counted from 0, and minutes after local midnight."""
    there = datetime.fromtimestamp(time / 1000, UTC).astimezone(ZONE)
    return (there.date() - FIRST.date()).days, there.hour * 60 + there.minute


def told(time: Ms) -> str:
    """An instant as day and local time, for a report."""
    day, minutes = clock(time)
    return f"day {day + 1} {minutes // 60:02}:{minutes % 60:02}"


def feeding_of(meals: int | None) -> tuple[int, ...]:
    """At which feeding times one eats that gets so many meals a day: the most evenly spread over the day and night."""
    if meals is None or meals >= len(FEEDING):
        return FEEDING
    if meals == 2:
        return FEEDING[0], FEEDING[2]
    return FEEDING[:1]


def site(chance: float) -> SiteSpec:
    """What the keeper has configured."""
    probes: list[dict[str, Any]] = [_probe(f"{vessel.id}-water", "water", vessel=vessel.id) for vessel in VESSELS]
    probes += [_probe("room", "room"), *(_probe(f"{store}-c", "store", store=store) for store in STORES)]
    document = {
        "site": {"id": "spare-room", "timezone": TIMEZONE, "feeding_times": [_hhmm(minutes) for minutes in FEEDING]},
        "broker": {"url": "mqtt://127.0.0.1:1883"},
        "vessel": [{"id": vessel.id, "litres": vessel.litres} for vessel in VESSELS],
        "probe": probes,
        "lot": [{"id": tin.id, "strain": tin.strain, "label_hatch_percent": tin.label_percent} for tin in TINS],
        "cold_store": [{"id": store} for store in STORES],
    }
    spec = from_document(document, file="the trial's configuration", base=Path.cwd()).settings.site_spec()
    strains = {tin.strain: StrainSpec(id=tin.strain, length_um=tin.length_um, cysts_per_g=None) for tin in TINS}
    costs = Costs(
        currency="EUR",
        salt_per_kg=1.0,
        kwh=0.30,
        vessel_w=8.0,
        visit=3.0,
        there_from=THERE[0],
        there_until=THERE[1],
    )
    return replace(spec, fish=FISH, strains=strains, costs=costs, food_chance=chance)


def _probe(name: str, measures: str, **more: str) -> dict[str, Any]:
    return {
        "id": name,
        "topic": f"spare-room/{name}",
        "decoder": "number",
        "measures": measures,
        "every": "10 min",
    } | more


def _hhmm(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"
