"""A month in a room with twelve vessels: real weather, and the troubles that are written down beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from simulator.population.outdoors import BEGIN_S, TIMEZONE, hourly_c
from simulator.scenario.models import Scenario

ZONE: Final = ZoneInfo(TIMEZONE)
START: Final = datetime(2013, 3, 1, 0, 0, tzinfo=ZONE)  # the night of the change to summer time is in it
LEAD_DAYS: Final = 3
VESSELS: Final = (
    "ash", "birch", "cedar", "elm", "fir", "hazel", "juniper", "larch", "maple", "oak", "pine", "rowan",
)  # fmt: skip
LITRES: Final = (1.5, 1.5, 1.5, 1.5, 2.0, 2.0, 2.0, 2.0, 1.5, 1.5, 2.0, 2.0)
TINS: Final = (("tin-3", 18.5, 0.78), ("tin-5", 20.0, 0.66), ("tin-7", 21.5, 0.71), ("tin-8", 19.5, 0.62))
SPARE: Final = ("ash", "elm", "maple")  # vessels with a second thermometer
ON_ONE_PUMP: Final = ("ash", "birch", "cedar")
STARTS_AT: Final = 8 * 60 + 30  # local minutes: each vessel every other day, a few minutes apart
DAY_S: Final = 86_400


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that is made to happen. ``alarms``: the beginnings of the ids that may tell it."""

    name: str
    begins_s: int
    ends_s: int
    alarms: tuple[str, ...]


def at(day: int, hour: float) -> int:
    """Offset in seconds of a local time, days counted from 0."""
    there = START + timedelta(days=day)  # wall-clock arithmetic: the same local midnight
    there = there.replace(hour=int(hour), minute=round(hour % 1 * 60))
    return round((there.astimezone(UTC) - START.astimezone(UTC)).total_seconds())


def cold_night(day: int, hour: float = 21.5) -> Trouble:
    """The heating of the room fails for nine hours."""
    begins = at(day, hour)
    return Trouble(f"cold night {day + 1}", begins, begins + 9 * 3600, ("cold-snap", "hatch-late"))


def pump_fails(day: int, hour: float) -> Trouble:
    """One pump drives three vessels."""
    begins = at(day, hour)
    return Trouble("pump of three vessels", begins, begins + 14 * 60, ("air-stopped",))


def drop_out(probe: str, day: int, hour: float, hours: float) -> Trouble:
    """A probe says nothing for some hours."""
    begins = at(day, hour)
    vessel = probe.partition("-")[0]
    return Trouble(
        f"{probe} silent", begins, begins + round(hours * 3600), (f"probe-silent:{probe}", f"no-news:{vessel}")
    )


def broker_stops(day: int, hour: float) -> Trouble:
    """The broker is started anew and takes its time."""
    begins = at(day, hour)
    return Trouble("broker restart", begins, begins + 3 * 60, ("broker-lost",))


def month() -> tuple[Trouble, ...]:
    """Three cold nights, one pump, two probes, one broker."""
    return (
        cold_night(5),
        drop_out("elm-water", 8, 13.0, 5.0),
        pump_fails(11, 19.5),
        broker_stops(13, 15.25),
        cold_night(14, 22.5),
        drop_out("fir-air", 18, 19.0, 3.0),
        cold_night(23, 20.0),
    )


def few_days() -> tuple[Trouble, ...]:
    """One of each, within three days."""
    return (
        drop_out("elm-water", 0, 13.0, 5.0),
        pump_fails(1, 11.0),
        broker_stops(1, 15.25),
        cold_night(2, 16.0),
    )


def scenario(days: int, troubles: tuple[Trouble, ...]) -> Scenario:
    """The world of these days."""
    first = (int(START.timestamp()) - LEAD_DAYS * DAY_S - BEGIN_S) // 3600
    weather = hourly_c("LGA")
    hourly = [float(weather[(first + hour) % len(weather)]) for hour in range((days + LEAD_DAYS + 5) * 24)]
    cold = [trouble for trouble in troubles if trouble.name.startswith("cold")]
    pump = [trouble for trouble in troubles if trouble.name.startswith("pump")]
    return Scenario.model_validate(
        {
            "seed": 2013,
            "site": "shed",
            "start": START,
            "timezone": TIMEZONE,
            "lead": f"{LEAD_DAYS} d",
            "sampled_cysts": 400,
            "room": {
                "mean_c": 25.5,
                "share": 0.12,
                "lag": "30 min",
                "weather": {"hourly_c": hourly},
                "spell": [
                    {
                        "at": _seconds(t.begins_s),
                        "hours": (t.ends_s - t.begins_s) / 3600,
                        "depth_c": 8.0,
                        "where": "room",
                    }
                    for t in cold
                ],
            },
            "vessel": [{"id": name, "litres": litres} for name, litres in zip(VESSELS, LITRES, strict=True)],
            "pump": [
                {"vessel": name, "failure": [_failure(t) for t in pump] if name in ON_ONE_PUMP else []}
                for name in VESSELS
            ],
            "tin": [{"id": name, "median_h": median, "viable": viable} for name, median, viable in TINS],
            "batch": list(_batches(days)),
            "probe": list(_probes(troubles)),
        }
    )


def _seconds(offset: int) -> str:
    return f"{offset} s"


def _failure(trouble: Trouble) -> dict[str, Any]:
    return {"at": _seconds(trouble.begins_s), "minutes": (trouble.ends_s - trouble.begins_s) / 60}


def _batches(days: int) -> list[dict[str, Any]]:
    found = []
    for place, vessel in enumerate(VESSELS):
        for nth, day in enumerate(range(place % 2, days, 2)):
            found.append(
                {
                    "id": f"{vessel}-{nth + 1}",
                    "vessel": vessel,
                    "at": _seconds(at(day, (STARTS_AT + 4 * place) / 60)),
                    "tin": TINS[(place // 2 + nth) % len(TINS)][0],
                    "cysts_g": 2.0 * LITRES[place],
                    "fill_c": 25.0,
                }
            )
    return found


def _probes(troubles: tuple[Trouble, ...]) -> list[dict[str, Any]]:
    """Thirty: water and air of each vessel, three second thermometers, three of the room."""
    silent = {
        trouble.name.removesuffix(" silent"): [
            {"at": _seconds(trouble.begins_s), "hours": (trouble.ends_s - trouble.begins_s) / 3600}
        ]
        for trouble in troubles
        if trouble.name.endswith(" silent")
    }
    water = [(f"{vessel}-water", "water", vessel) for vessel in VESSELS]
    water += [(f"{vessel}-water-2", "water", vessel) for vessel in SPARE]
    room = [(f"room-{place}", "room", None) for place in ("door", "shelf", "window")]
    air = [(f"{vessel}-air", "air", vessel) for vessel in VESSELS]
    return [
        {
            "id": name,
            "topic": f"shed/{name}",
            "measures": measures,
            "vessel": vessel,
            "every": "1 min",
            "noise_sd": 0.0 if measures == "air" else 0.05,
            "step": 0.0 if measures == "air" else 0.0625,
            "bias": 0.0 if measures == "air" else round(0.1 * (number % 5 - 2), 2),
            "payload": {"style": "json", "time": "/time", "value": "/value"},
            "silent": silent.get(name, []),
        }
        for number, (name, measures, vessel) in enumerate([*water, *air, *room])
    ]
