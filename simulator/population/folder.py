"""One tin as a folder: configuration, readings, the keeper's log, and the truth beside it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.payload import instant
from simulator.population import ranges
from simulator.population.batches import LONGEST_H
from simulator.population.heat import BEGIN, HISTORY_H
from simulator.population.outdoors import TIMEZONE
from simulator.population.priors import draw
from simulator.population.tins import PROBE_EVERY_MINUTES, PROBES, Place, Probes, Tin, draw_probes
from simulator.world.numbers import stream

if TYPE_CHECKING:
    from pathlib import Path

    from simulator.population.air import Stop
    from simulator.population.batches import Batch, Floor, TinYear
    from simulator.world.numbers import Floats

VESSEL = "jug"
TOPICS = {"jug-water": "shed/jug/water", "jug-air": "shed/jug/air", "room": "shed/room"}
FEEDING = ("07:00", "12:00", "18:00")


def write_tin(folder: Path, year: TinYear, batches: list[Batch], seed: int) -> None:
    """Write the four files of a tin into an existing folder. Raises OSError."""
    probes = draw_probes(seed, year.tin.id)
    (folder / "swimup.toml").write_text(configuration(year.tin, year.place), encoding="utf-8")
    rows = ["time,probe,value"]
    for batch in batches:
        rows.extend(_readings(batch, probes, stream(seed, "readings", batch.id)))
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    events = [event for batch in batches for event in _events(batch, year)]
    _write_lines(folder / "log.jsonl", events)
    _write_lines(folder / "truth.jsonl", [truth(batch, year) for batch in batches])


def _write_lines(file: Path, lines: list[dict[str, Any]]) -> None:
    file.write_text("".join(json.dumps(line, allow_nan=False) + "\n" for line in lines), encoding="utf-8")


def configuration(tin: Tin, place: Place) -> str:
    """The smallest ``swimup.toml`` that knows the vessel, its probes and the tin."""
    feeding = ", ".join(f'"{time}"' for time in FEEDING)
    parts = [
        f'[site]\nid = "shed"\ntimezone = "{TIMEZONE}"\nfeeding_times = [{feeding}]\n',
        '[broker]\nurl = "mqtt://127.0.0.1:1883"\n',
        f'[[vessel]]\nid = "{VESSEL}"\nlitres = {place.litres}\n',
    ]
    for probe in PROBES:
        lines = ["[[probe]]", f'id = "{probe}"', f'topic = "{TOPICS[probe]}"', 'decoder = "number"']
        if probe == "room":
            lines += ['measures = "room"', 'unit = "C"']
        elif probe == "jug-water":
            lines += ['measures = "water"', f'vessel = "{VESSEL}"', 'unit = "C"']
        else:
            lines += ['measures = "air"', f'vessel = "{VESSEL}"']
        parts.append("\n".join([*lines, f'every = "{PROBE_EVERY_MINUTES} min"']) + "\n")
    lot = ["[[lot]]", f'id = "{tin.id}"']
    if tin.strain:
        lot.append(f'strain = "{tin.strain}"')
    if tin.label_percent is not None:
        lot.append(f"label_hatch_percent = {tin.label_percent:g}")
    parts.append("\n".join(lot) + "\n")
    return "\n".join(parts)


# -------------------------------------------------------------------------------------------------------- readings


def _readings(batch: Batch, probes: Probes, chance: np.random.Generator) -> list[str]:
    """Rows of all probes in order of time, from the history before the start to the end of the recording."""
    times: list[np.ndarray] = []
    rows: list[str] = []
    for probe in PROBES:
        seconds = np.arange(
            probes.phase_s[probe] - HISTORY_H * 3600, batch.recorded_h * 3600, PROBE_EVERY_MINUTES * 60, dtype=np.int64
        )
        noise = chance.standard_normal(len(seconds))
        heard = _heard(seconds, chance)
        seconds, noise = seconds[heard], noise[heard]
        if probe == "jug-air":
            values = _air(seconds, batch.stop)
        else:
            true = batch.water_c if probe == "jug-water" else batch.room_c
            values = _told(true, seconds, probes.bias_c[probe] + probes.noise_c[probe] * noise)
        stamps = np.datetime_as_string((batch.start_s + seconds).astype("datetime64[s]"), timezone="UTC")
        times.append(seconds)
        rows.extend(f"{stamp},{probe},{value}" for stamp, value in zip(stamps.tolist(), values, strict=True))
    order = np.argsort(np.concatenate(times), kind="stable")
    return [rows[place] for place in order.tolist()]


def _heard(seconds: np.ndarray, chance: np.random.Generator) -> np.ndarray:
    """Whether each reading arrives; now and then a probe is silent for a while."""
    happens, when = chance.random() < ranges.OUTAGE, float(chance.random())
    length_s = draw(ranges.OUTAGE_H, chance) * 3600
    begins = seconds[0] + when * (seconds[-1] - seconds[0])
    silent: np.ndarray = happens & (seconds >= begins) & (seconds < begins + length_s)
    return ~silent


def _air(seconds: np.ndarray, stop: Stop | None) -> list[str]:
    if stop is None:
        return ["on"] * len(seconds)
    off = (seconds >= stop.from_minute * 60) & (seconds < stop.to_minute * 60)
    return ["off" if still else "on" for still in off.tolist()]


def _told(true_c: Floats, seconds: np.ndarray, error_c: Floats) -> list[str]:
    celsius = np.interp(seconds / 60.0 + BEGIN, np.arange(len(true_c)), true_c) + error_c
    steps = np.round(celsius / ranges.PROBE_STEP_C) * ranges.PROBE_STEP_C
    return [f"{value:.4f}" for value in steps.tolist()]


# ------------------------------------------------------------------------------------------------- log and truth


def _events(batch: Batch, year: TinYear) -> list[dict[str, Any]]:
    start = {
        "time": instant(batch.start_s * 1000),
        "event": "start",
        "batch": batch.id,
        "vessel": VESSEL,
        "lot": year.tin.id,
        "cysts_g": batch.cysts_g,
        "litres": year.place.litres,
        "salinity_g_l": batch.salinity_g_l,
    }
    later = [
        {"time": _after(batch, entry.minute / 60), "event": entry.event, "batch": batch.id, **entry.fields}
        for entry in batch.entries
    ]
    return [start, *later]


def truth(batch: Batch, year: TinYear) -> dict[str, Any]:
    """One line of ``truth.jsonl``."""
    return {
        "batch": batch.id,
        "tin": year.tin.id,
        "k": batch.number,
        "room": year.place.kind,
        "share": round(year.place.share, 3),
        "season": batch.season,
        "start": instant(batch.start_s * 1000),
        "t10": _time(batch, batch.t10_h),
        "t50": _time(batch, batch.t50_h),
        "t90": _time(batch, batch.t90_h),
        "hatch_share": round(batch.hatch_share, 4),
        "lost": batch.lost,
        "heater_failure": None if batch.fails_h is None else _after(batch, batch.fails_h),
        "last_look": _after(batch, batch.last_look_h),
        "air_stops": [] if batch.stop is None else [_stop(batch, batch.stop)],
        "floor": {
            "new": _floor(batch, "new"),
            "known": _floor(batch, "known"),
        },
    }


def _stop(batch: Batch, stop: Stop) -> dict[str, Any]:
    """``minutes_to_2mg_l``: had the air stayed off; ``hatched``: share of all cysts when it stopped."""
    return {
        "from": _after(batch, stop.from_minute / 60),
        "to": _after(batch, stop.to_minute / 60),
        "minutes_to_2mg_l": None if stop.minutes_to_short is None else round(stop.minutes_to_short, 1),
        "hatched": round(stop.out * batch.hatchable, 4),
    }


def _floor(batch: Batch, who: str) -> dict[str, list[float] | None]:
    def told(floor: Floor | None) -> list[float] | None:
        if floor is None:
            return None
        return [round(hours, 3) for hours in (floor.new if who == "new" else floor.known).tolist()]

    return {"start": told(batch.at_start), "after_failure": told(batch.after_failure)}


def _after(batch: Batch, hours: float) -> str:
    return instant((batch.start_s + round(hours * 3600)) * 1000)


def _time(batch: Batch, hours: float) -> str | None:
    return None if hours > LONGEST_H else _after(batch, hours)
