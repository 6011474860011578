"""Readings, estimates and alarms as InfluxDB line protocol. Pure; times are in milliseconds, instants in Unix seconds.

Fields are numbers only, as some servers keep nothing else. deploy/series/README.md tells of each; ``STAGES``, ``STATES`` and
``AIRS`` are the numbers that stand for words. One instant, measurement and set of tags is one point, so sending it twice is
sending it once.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import Air, AlarmState, Measures, Quality, Stage

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.log import Start
    from monitor.core.model import Ms, ProbeSpec, Reading, SiteSpec, Transition

STAGES: Final = {stage.value: number for number, stage in enumerate(Stage)}
STATES: Final = {state: number for number, state in enumerate(AlarmState)}
AIRS: Final = {"stopped": 0, "running": 1, "weak": 2}
SPANS: Final = ("hatched", "t10", "t50", "t90", "ready")

_ESCAPED: Final = str.maketrans({",": "\\,", "=": "\\=", " ": "\\ ", "\\": "/"})


def tag(text: str) -> str:
    """A tag's value. A backslash cannot be told apart from an escape, so it becomes a slash; control characters a "_"."""
    plain = "".join(letter if letter.isprintable() or letter == " " else "_" for letter in text)
    return plain.translate(_ESCAPED)


def series(measurement: str, tags: Mapping[str, str | None]) -> str:
    """What a line begins with; tags in order of their names, empty ones left out."""
    told = [f"{name}={tag(value)}" for name, value in sorted(tags.items()) if value]
    return ",".join([measurement, *told])


class Lines:
    """Makes the lines of one site."""

    def __init__(self, site: SiteSpec) -> None:
        self._site = site
        self._of_probe: dict[str, str] = {}

    def reading(self, reading: Reading) -> str:
        """``value`` is a value that is used, ``doubtful`` one that is kept and not used: no chart shows nonsense unasked."""
        begin = self._of_probe.get(reading.probe)
        if begin is None:
            begin = self._of_probe[reading.probe] = series("reading", self._tags(reading.probe))
        nth = f",nth={reading.n}" if reading.n else ""
        name = "value" if reading.quality.usable else "doubtful"
        air = "" if reading.state is None else f",air={reading.state}i"
        return f"{begin}{nth} {name}={reading.milli / 1000!r},quality={int(reading.quality)}i{air} {reading.time}"

    def estimate(self, document: Mapping[str, Any], time: Ms, start: Start | None) -> str:
        """``document`` as replay prints it, told at ``time``; ``start`` is the beginning of its batch, if that is known."""
        batch = str(document["batch"])
        tags = {"batch": batch} if start is None else {"batch": batch, "vessel": start.vessel, "lot": start.lot}
        fields = [f"stage={STAGES[document['stage']]}i"]
        for name in SPANS:
            for side in ("lo", "mid", "hi"):
                value = document[name][side]
                if value is not None:
                    number = float(value) if name == "hatched" else _seconds(value)
                    fields.append(f"{name}_{side}={number!r}")
        if document["water_c"] is not None:
            fields.append(f"water_c={float(document['water_c'])!r}")
        if document["air"] in AIRS:
            fields.append(f"air={AIRS[document['air']]}i")
        return f"{series('eta', self._here(tags))} {','.join(fields)} {time}"

    def transition(self, transition: Transition) -> str:
        alarm = transition.alarm
        tags = {"alarm": alarm.id, "rule": alarm.rule, "subject": alarm.subject, "priority": alarm.priority.value}
        fields = f"state={STATES[alarm.state]}i,trouble={int(not alarm.over)}i,told={int(transition.notify)}i"
        return f"{series('alarm', self._here(tags))} {fields} {transition.time}"

    def _tags(self, probe: str) -> dict[str, str | None]:
        spec: ProbeSpec | None = self._site.probes.get(probe)
        if spec is None:  # it is not configured any more
            return self._here({"probe": probe})
        unit = None if spec.measures is Measures.AIR else "Cel"  # the code of UCUM for degrees Celsius
        belongs = {"vessel": spec.vessel, "store": spec.store, "unit": unit}
        return self._here({"probe": probe, "measures": spec.measures.value, **belongs})

    def _here(self, tags: Mapping[str, str | None]) -> dict[str, str | None]:
        return {"site": self._site.id, **tags}


def numbers() -> dict[str, dict[str, int]]:
    """What numbers stand for, by field."""
    return {
        "quality": {quality.word: int(quality) for quality in Quality},
        "air": {state.word: int(state) for state in Air},
        "stage": dict(STAGES),
        "state": {state.value: number for state, number in STATES.items()},
    }


def _seconds(instant: str) -> float:
    return datetime.fromisoformat(instant).timestamp()
