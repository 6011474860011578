"""Small worlds for scoring: rows made by hand, and tins as folders of files."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.score.baselines import BASELINES
from monitor.score.metrics import Scored, score_lognormal, score_sample
from monitor.score.rows import AGED, AGES_H, Row

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.score.metrics import Array

T0 = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)
LEVELS = np.arange(1, 100) / 100


def lognormal(median: float, spread: float, truth: float) -> Scored:
    found = score_lognormal(np.array([median]), spread, np.array([truth]))
    return Scored(*(float(np.asarray(value)[0]) for value in found))


def normal_sample(mean: float, sd: float, truth: float) -> Scored:
    """A forecast by 99 equally likely values of a normal distribution."""
    from statistics import NormalDist

    values = np.array([NormalDist(mean, sd).inv_cdf(float(level)) for level in LEVELS])
    return score_sample(values, np.full(99, 1 / 99), (values[9], values[49], values[89]), truth)


def population(
    forecast: Callable[[float, float], Scored],
    tins: int = 60,
    batches: int = 4,
    luck_h: float = 2.0,
    habits: Callable[[float, float], float] = lambda middle, truth: 24.0,  # noqa: ARG005
    **fixed: Any,
) -> list[Row]:
    """Rows at every age of known tins: ``forecast`` and ``habits`` are given what could be known of T90, and T90."""
    generator = np.random.default_rng(7)
    rows = []
    for tin in range(tins):
        for batch in range(batches):
            middle = float(generator.uniform(18, 34))
            truth = middle + luck_h * float(generator.standard_normal())
            for point, age in zip(AGED, AGES_H, strict=True):
                values: dict[str, Any] = {
                    "tin": f"tin-{tin:03}",
                    "batch": f"{tin}-{batch}",
                    "group": "known",
                    "room": "sheltered",
                    "season": "cold",
                    "point": point,
                    "age_h": age,
                    "truth_h": truth,
                    "foreseeable": True,
                    "model": forecast(middle, truth),
                    "never": 0.0,
                    "floor": normal_sample(middle, luck_h, truth),
                    "baselines": dict.fromkeys(BASELINES, habits(middle, truth)),
                    "unlearned": lognormal(26.0, 0.2, truth) if point == AGED[0] else None,
                }
                rows.append(Row(**(values | fixed)))
    return rows


# -- folders

CONFIGURATION = """
[site]
id = "shed"
timezone = "America/New_York"
feeding_times = ["07:00"]

[broker]
url = "mqtt://127.0.0.1:1883"

[[vessel]]
id = "ash"
litres = 1.5

[[probe]]
id = "ash-water"
topic = "shed/ash/water"
decoder = "number"
measures = "water"
vessel = "ash"
unit = "C"
every = "10 min"

[[probe]]
id = "ash-air"
topic = "shed/ash/air"
decoder = "number"
measures = "air"
vessel = "ash"
every = "10 min"

[[lot]]
id = "{tin}"
label_hatch_percent = 80
"""


def text(when: datetime) -> str:
    return when.isoformat().replace("+00:00", "Z")


def write_tin(
    folder: Path,
    t90_h: tuple[float | None, ...] = (24.0, 25.0),
    water_c: Callable[[float], float] = lambda hour: 25.0,  # noqa: ARG005
    looks: tuple[dict[str, Any], ...] = ({"hour": 20.0, "what": "some", "fraction": 0.3},),
    air_off: tuple[float, float, float | None] | None = None,
    **truth: Any,
) -> Path:
    """A tin whose batches were started ten days apart; ``water_c`` by hours since each start.

    ``air_off``: hours from and to which the air of each batch is off, and the minutes until 2 mg/L.
    """
    folder.mkdir(parents=True)
    (folder / "swimup.toml").write_text(CONFIGURATION.format(tin=folder.name))
    readings, log, truths = ["time,probe,value"], [], []
    for k, hours in enumerate(t90_h, 1):
        start = T0 + timedelta(days=10 * (k - 1))
        name = f"b{k}"
        end_h = 30.0 if hours is None else hours + 4
        for step in range(-6, round(end_h * 6) + 1):
            hour = step / 6
            when = text(start + timedelta(hours=hour))
            off = air_off is not None and air_off[0] <= hour < air_off[1]
            readings += [f"{when},ash-water,{water_c(hour):.3f}", f"{when},ash-air,{'off' if off else 'on'}"]
        log.append(_event(start, "start", name, vessel="ash", lot=folder.name, cysts_g=3, litres=1.5, salinity_g_l=25))
        log += [_event(start + timedelta(hours=look["hour"]), "seen", name, **_without_hour(look)) for look in looks]
        log.append(_event(start + timedelta(hours=end_h), "harvest", name, hatched_fraction=0.6))
        stops = []
        if air_off is not None:
            begin, end = (text(start + timedelta(hours=hour)) for hour in air_off[:2])
            stops.append({"from": begin, "to": end, "minutes_to_2mg_l": air_off[2], "hatched": 0.0})
        line = {
            "batch": name, "tin": folder.name, "k": k, "room": "living", "share": 0.1, "season": "mild",
            "start": text(start), "t10": None, "t50": None,
            "t90": None if hours is None else text(start + timedelta(hours=hours)),
            "hatch_share": 0.6, "lost": hours is None, "heater_failure": None, "last_look": None, "air_stops": stops,
            "floor": {group: {"start": quantiles(24.0, 0.1), "after_failure": None} for group in ("new", "known")},
        }  # fmt: skip
        truths.append(json.dumps(line | truth))
    (folder / "readings.csv").write_text("\n".join(readings) + "\n")
    (folder / "log.jsonl").write_text("\n".join(log) + "\n")
    (folder / "truth.jsonl").write_text("\n".join(truths) + "\n")
    return folder


def quantiles(median: float, spread: float) -> list[float]:
    from statistics import NormalDist

    found: Array = median * np.exp(spread * np.array([NormalDist().inv_cdf(float(level)) for level in LEVELS]))
    return [float(value) for value in found]


def _event(when: datetime, event: str, batch: str, **more: Any) -> str:
    return json.dumps({"time": text(when), "event": event, "batch": batch} | more)


def _without_hour(look: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in look.items() if name != "hour"}
