"""One keeper's circumstances by chance: the tin, the room, the vessel, the probes, and the keeper's own ways."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.population import ranges
from simulator.population.laws import Law, draw_law, share_table
from simulator.population.outdoors import STATIONS
from simulator.population.priors import draw, shifted
from simulator.world.numbers import stream
from simulator.world.vessel import HEAT_J_PER_L_K, time_constant_h

if TYPE_CHECKING:
    from simulator.world.numbers import Floats

PROBES = ("jug-water", "jug-air", "room")
PROBE_EVERY_MINUTES = 10


@dataclass(frozen=True, slots=True)
class Tin:
    """What is true of one tin. ``shares``: how many are out at each of ``laws.LOG_TIMES`` about the median."""

    id: str
    strain: str
    label_percent: float | None
    median_h: float
    batch_log_sd: float
    law: Law
    threshold_sd_c: float
    heat_limit_sd_c: float
    family: str
    synchrony_h: float
    shares: Floats
    hatchable: float
    hatchable_logit_sd: float
    restart_h: float
    cysts_per_g: float
    nauplius_ug: float


@dataclass(frozen=True, slots=True)
class Heater:
    set_c: float
    band_c: float
    watts: float


@dataclass(frozen=True, slots=True)
class Place:
    """The room and the vessel in it. ``heater`` is used when ``owns_heater``, or when it would take too long without."""

    kind: str
    station: str
    share: float
    mean_c: float
    lag_h: float
    setback_c: float
    floor_c: float  # -inf where no thermostat holds the room
    litres: float
    time_constant_h: float
    surface_per_h: float
    stone_per_h: float
    owns_heater: bool
    heater: Heater

    @property
    def heat_c_per_h_w(self) -> float:
        """How fast one watt warms the water."""
        return 3600.0 / (HEAT_J_PER_L_K * self.litres)


@dataclass(frozen=True, slots=True)
class Keeper:
    """A keeper's ways; shares are of the cysts that hatch."""

    gap_h: float
    writes: float
    first_at: float
    some_at: float
    most_at: float
    eye_logit_sd: float
    counts: float
    counted: int
    mixing_logit_sd: float
    harvest_at: float


@dataclass(frozen=True, slots=True)
class Probes:
    """``bias_c`` by probe id; each reads at its own minute of ten."""

    bias_c: dict[str, float]
    noise_c: dict[str, float]
    phase_s: dict[str, int]


def draw_tin(seed: int, name: str) -> Tin:
    """The tin of that name in the population of that seed."""
    chance = stream(seed, "tin", name)
    median, synchrony = draw(ranges.MEDIAN_H, chance), draw(ranges.SYNCHRONY_H, chance)
    family = ranges.FAMILY.draw(chance)
    hatchable = draw(ranges.HATCHABLE, chance)
    least, most = ranges.LABEL_PERCENT
    label = 5.0 * round(100.0 * shifted(hatchable, draw(ranges.LABEL_LOGIT, chance)) / 5.0)
    labelled = chance.random() < ranges.LABELLED
    return Tin(
        id=name,
        strain=ranges.STRAIN.draw(chance),
        label_percent=min(max(label, least), most) if labelled else None,
        median_h=median,
        batch_log_sd=draw(ranges.BATCH_LOG_SD, chance),
        law=draw_law(chance),
        threshold_sd_c=draw(ranges.OWN_THRESHOLD_SD_C, chance),
        heat_limit_sd_c=draw(ranges.OWN_HEAT_LIMIT_SD_C, chance),
        family=family,
        synchrony_h=synchrony,
        shares=share_table(family, synchrony / median),
        hatchable=hatchable,
        hatchable_logit_sd=draw(ranges.HATCHABLE_BATCH_LOGIT_SD, chance),
        restart_h=draw(ranges.RESTART_H, chance),
        cysts_per_g=draw(ranges.CYSTS_PER_G, chance),
        nauplius_ug=draw(ranges.NAUPLIUS_UG, chance),
    )


def draw_place(seed: int, name: str) -> Place:
    """Where the keeper of that tin hatches."""
    chance = stream(seed, "place", name)
    kind = ranges.ROOM.draw(chance)
    setback, floor, owned = (float(share) for share in chance.random(3))
    setback_c, floor_c = draw(kind.setback_c, chance), draw(kind.floor_c, chance)
    litres = ranges.LITRES.draw(chance)
    cube_h = float(time_constant_h(np.array(litres)))
    return Place(
        kind=kind.name,
        station=STATIONS[int(chance.integers(len(STATIONS)))],
        share=draw(kind.share, chance),
        mean_c=draw(kind.mean_c, chance),
        lag_h=draw(kind.lag_h, chance),
        setback_c=setback_c if setback < kind.setback else 0.0,
        floor_c=floor_c if floor < kind.floor else -np.inf,
        litres=litres,
        time_constant_h=cube_h * draw(ranges.INSULATION, chance),
        surface_per_h=draw(ranges.SURFACE_PER_H, chance),
        stone_per_h=draw(ranges.STONE_PER_H, chance),
        owns_heater=owned < kind.heater,
        heater=Heater(
            set_c=draw(ranges.HEATER_SET_C, chance),
            band_c=draw(ranges.HEATER_BAND_C, chance),
            watts=litres * draw(ranges.HEATER_W_PER_L, chance),
        ),
    )


def draw_keeper(seed: int, name: str) -> Keeper:
    """The keeper of that tin."""
    chance = stream(seed, "keeper", name)
    return Keeper(
        gap_h=draw(ranges.LOOK_GAP_H, chance),
        writes=draw(ranges.WRITES, chance),
        first_at=draw(ranges.FIRST_AT, chance),
        some_at=draw(ranges.SOME_AT, chance),
        most_at=draw(ranges.MOST_AT, chance),
        eye_logit_sd=draw(ranges.EYE_LOGIT_SD, chance),
        counts=draw(ranges.COUNTS, chance),
        counted=round(draw(ranges.COUNTED, chance)),
        mixing_logit_sd=draw(ranges.MIXING_LOGIT_SD, chance),
        harvest_at=draw(ranges.HARVEST_AT, chance),
    )


def draw_probes(seed: int, name: str) -> Probes:
    """The probes that the tin's vessel and room have."""
    chance = stream(seed, "probes", name)
    return Probes(
        bias_c={probe: draw(ranges.PROBE_BIAS_C, chance) for probe in PROBES},
        noise_c={probe: draw(ranges.PROBE_NOISE_C, chance) for probe in PROBES},
        phase_s={probe: int(chance.integers(PROBE_EVERY_MINUTES * 60)) for probe in PROBES},
    )
