"""A desk kept in memory, with a shed of three vessels in the middle of a bad night."""

from __future__ import annotations

import asyncio
import copy
import threading
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.burden import Told, begin_of, burden
from monitor.core.checkup_table import document as checkup
from monitor.core.food import SkipStart
from monitor.core.log import Chill, Discard, Emptied, Harvest, Seen, Settle, Start, Undo, Work, kind_of, subject_of
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Acknowledge,
    Alarm,
    AlarmState,
    Ms,
    Priority,
    PutBackInService,
    Refused,
    Shelve,
    TakeOutOfService,
    Transition,
    Unshelve,
)
from monitor.core.phones import Subscribe, Unsubscribe
from monitor.core.rooms import Rooms, own_document
from monitor.core.summary import summary
from monitor.guide import HINTS
from monitor.notify import try_channels
from monitor.service.burden import document
from monitor.store.record import Record
from monitor.web.when import as_rfc3339, rfc3339
from tests.adapters.web.brood_example import broods_of_the_shed
from tests.unit.core.checkups import ill

if TYPE_CHECKING:
    from monitor.core.burden import Kind
    from monitor.core.phones import Phone
    from monitor.notify import Channel
    from monitor.web.desk import Command

NOW: Ms = rfc3339("2026-03-02T01:10:00Z")  # 02:10 in Berlin


def span(low: float | None, mid: float | None, high: float | None) -> dict[str, str | None]:
    """Instants ``low``, ``mid`` and ``high`` hours from NOW."""
    ends = {"lo": low, "mid": mid, "hi": high}
    return {end: None if hours is None else as_rfc3339(NOW + round(hours * HOUR)) for end, hours in ends.items()}


def measured(
    value: float | str | None, age_s: float, probe: str, *, fresh: bool = True, quality: str = "ok"
) -> dict[str, Any]:
    return {
        "value": value,
        "unit": "Cel" if isinstance(value, float) else None,
        "time": as_rfc3339(NOW - round(age_s * SECOND)),
        "age_s": age_s,
        "quality": quality,
        "fresh": fresh,
        "probe": probe,
    }


def a_batch(vessel: str, **changes: Any) -> dict[str, Any]:
    return {
        "id": f"{vessel}-2026-03-01",
        "lot": "tin-7",
        "strain": "Great Salt Lake",
        "start": span(None, -15, None)["mid"],
        "cysts_g": 2.0,
        "litres": 1.5,
        "salinity_g_l": 25.0,
        "stage": "hatching",
        "hatched": {"lo": 0.2, "mid": 0.3, "hi": 0.45},
        "t10": span(-2.5, -1.5, -0.6),
        "t50": span(1.2, 2.5, 4.1),
        "t90": span(3.1, 4.6, 6.9),
        "ready": span(3.1, 4.6, 6.9),
        "note": "",
        "looked": None,
        "first_seen": None,
        **changes,
    }


def a_start(vessel: str, lot: str = "tin-7", cysts_g: float = 2.0, litres: float = 1.5) -> dict[str, Any]:
    """What the last batch of a vessel was begun with."""
    batch = f"{vessel}-2026-03-01"
    return {"batch": batch, "lot": lot, "cysts_g": cysts_g, "litres": litres, "salinity_g_l": 25.0}


def an_alarm(rule: str, subject: str, priority: str, minutes: float, **changes: Any) -> dict[str, Any]:
    since = as_rfc3339(NOW - round(minutes * MINUTE))
    return {
        "id": f"{rule}:{subject}",
        "rule": rule,
        "subject": subject,
        "priority": priority,
        "state": "unacknowledged",
        "since": since,
        "changed": since,
        "title": "",
        "text": "",
        "todo": "",
        "reason": "first time",
        **changes,
    }


def a_content(nauplii: float = 200_000, litres: float = 0.5, **changes: Any) -> dict[str, Any]:
    """Open and aerated, for ten hours in the cold."""
    return {
        "nauplii": nauplii,
        "litres": litres,
        "gas": "open",
        "gas_l": 0.0,
        "aerated": True,
        "since": span(None, -10, None)["mid"],
        "age_s": 36_000,
        "batches": [],
        "good_until": span(22, 38, 62),
        "ends_by": "age",
        "why": "kept longer at this temperature more and more of them die",
        "oxygen_until": span(None, None, None),
        **changes,
    }


def a_store(name: str, content: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    return {
        "id": name,
        "warm_above": 10.0,
        "cold_below": 1.0,
        "temperature": measured(4.3, 20, f"{name}-cold"),
        "air": measured("running", 8, f"{name}-air"),
        "air_probe": True,
        "content": content,
        **changes,
    }


def bad_night() -> dict[str, Any]:
    """Birch has hatched and its air has stopped; ash hatches; cedar is empty and its probe has gone quiet."""
    return {
        "site": "shed",
        "timezone": "Europe/Berlin",
        "now": as_rfc3339(NOW),
        "now_ms": NOW,
        "simulated": None,
        "broker": {"connected": True, "since": as_rfc3339(NOW - 9 * HOUR)},
        **broods_of_the_shed(NOW),
        "vessels": [
            {
                "id": "ash",
                "litres": 1.5,
                "water": measured(24.1, 12, "ash-water"),
                "air": measured("running", 8, "ash-air"),
                "batch": a_batch("ash"),
                "settling_until": None,
                "work_until": None,
                "settling_minutes": 15.0,
            },
            {
                "id": "birch",
                "litres": 2.0,
                "water": measured(26.4, 9, "birch-water"),
                "air": measured("stopped", 8, "birch-air"),
                "batch": a_batch(
                    "birch",
                    stage="ready",
                    litres=2.0,
                    cysts_g=3.0,
                    hatched={"lo": 0.68, "mid": 0.77, "hi": 0.84},
                    t10=span(-12, -11, -10),
                    t50=span(-7, -6.2, -5),
                    t90=span(-3, -1.6, 0.4),
                    ready=span(-3, -1.6, 0.4),
                    note="Without air the young ones last about 40 min at this temperature.",
                ),
                "settling_until": None,
                "work_until": None,
                "settling_minutes": 15.0,
            },
            {
                "id": "cedar",
                "litres": 1.0,
                "water": measured(19.3, 1500, "cedar-water", fresh=False),
                "air": None,
                "batch": None,
                "settling_until": None,
                "work_until": None,
                "settling_minutes": 20.0,
            },
        ],
        "room": [measured(16.8, 40, "shed-room")],
        "alarms": [
            an_alarm(
                "probe-silent",
                "cedar-water",
                "low",
                22,
                title="cedar-water is silent",
                text="No reading from cedar-water since 01:45. The vessel is empty, so nothing depends on it.",
                todo="When you are there: look at the plug and the battery.",
            ),
            an_alarm(
                "cold-snap",
                "ash",
                "medium",
                35,
                state="acknowledged",
                title="ash is getting cold",
                text="From 26.2 to 24.1 °C within 1 h. Ready moves from today 05:10 to today 06:45.",
                todo="Look at the heater of ash.",
            ),
            an_alarm(
                "air-stopped",
                "birch",
                "high",
                6,
                title="Air stopped in birch",
                text="No bubbles since 02:04. Birch has hatched; at 26.4 °C the oxygen lasts until about 02:50.",
                todo="Start the pump, or pour birch into a wide bowl no deeper than 5 cm.",
            ),
        ],
        "meals": [as_rfc3339(rfc3339("2026-03-01T18:00:00Z") + step) for step in _feedings()],
        "lots": [
            {"id": "tin-7", "strain": "Great Salt Lake", "cysts_per_g": None},
            {"id": "tin-6", "strain": "Vinh Chau", "cysts_per_g": None},
        ],
    }


def a_report(days: int) -> dict[str, Any]:
    """A fortnight in which ash chattered and birch lost its air, as the service makes it of a record."""
    moves, told = [], []

    def rings(name: str, at: Ms, priority: Priority, kind: Kind = "alarm") -> None:
        rule, _, subject = name.partition(":")
        alarm = Alarm(name, rule, subject, priority, AlarmState.UNACKNOWLEDGED, at, at, name, "", "", "")
        over = replace(alarm, state=AlarmState.NORMAL, changed=at + 10 * MINUTE)
        moves.append(Transition(at, alarm, AlarmState.NORMAL, True, ""))
        moves.append(Transition(at + 10 * MINUTE, over, AlarmState.ACKNOWLEDGED, False, ""))
        told.append(Told(at, "phone", kind, priority, (name,)))

    for n in range(4):
        rings("cold-snap:ash", NOW - 2 * DAY + n * 15 * MINUTE, Priority.MEDIUM)
        rings("ready:birch", NOW - (3 * n + 1) * DAY, Priority.MEDIUM, "ready")
    for n, vessel in enumerate(("ash", "birch", "cedar", "ash")):
        rings(f"probe-silent:{vessel}-{'air' if n == 3 else 'water'}", NOW - 5 * DAY + n * MINUTE, Priority.MEDIUM)
    rings("air-stopped:birch", NOW - 9 * DAY, Priority.HIGH)
    told += [
        Told(NOW - 9 * DAY + n * 2 * MINUTE, "phone", "repeat", Priority.HIGH, ("air-stopped:birch",)) for n in (1, 2)
    ]
    begin = begin_of(days, NOW, "Europe/Berlin", NOW - 14 * DAY)
    moves.sort(key=lambda move: move.time)
    return document(burden(moves, told, [], begin, NOW, "Europe/Berlin", HINTS), days, "Europe/Berlin")


def _feedings() -> list[Ms]:
    """07:00 and 19:00 in Berlin, for three days from 19:00 on the first of March."""
    return [day * 24 * HOUR + hours * HOUR for day in range(4) for hours in (0, 12)]


def _key(undo: Undo) -> tuple[str, str, Ms]:
    return undo.kind, undo.subject, undo.at


class MemoryDesk:
    """Does what the service would do with a command, as far as the page can see it."""

    def __init__(self, bench: dict[str, Any] | None = None) -> None:
        self._bench = bench if bench is not None else bad_night()
        self._version = 1
        self.waits = 0  # how often somebody began to wait for the next view
        self._lock = threading.Lock()
        self.done: list[Command] = []
        self.stuck = False
        self.channels: list[Channel] = []
        self._phones: dict[str, Phone] = {}
        self.quiet = ["too-hot:ash", "too-hot:birch"]
        self.decided: list[dict[str, Any]] = []
        self.asked_days: list[int] = []
        self.counted: dict[str, Any] = {}
        self.larder: dict[str, Any] = {}
        self.neighbours: Rooms | None = None
        self.facts = ill()
        self.record = Record(Path("no-store-here.sqlite3"))

    def bench(self) -> dict[str, Any]:
        with self._lock:
            return copy.deepcopy(self._bench)

    def figures(self) -> dict[str, Any]:
        return copy.deepcopy(self.counted)

    def food(self) -> dict[str, Any]:
        return copy.deepcopy(self.larder)

    def rooms(self) -> dict[str, Any]:
        """Our own room, and what the other rooms told; ``shown`` when there is any board of them."""
        own = own_document(summary(self.bench()), "", NOW)
        others = [] if self.neighbours is None else self.neighbours.documents(NOW)
        return {
            "now": as_rfc3339(NOW),
            "timezone": "Europe/Berlin",
            "shown": self.neighbours is not None,
            "problem": "",
            "doubled": False if self.neighbours is None else self.neighbours.doubled,
            "beyond": 0 if self.neighbours is None else self.neighbours.beyond,
            "rooms": [own, *others],
        }

    def version(self) -> int:
        return self._version

    async def look(self) -> None:
        """Nothing waits to be shown here."""

    async def wait(self, version: int, timeout: float) -> int:  # noqa: ASYNC109  (the desk's own signature)
        self.waits += 1
        ends = asyncio.get_running_loop().time() + timeout
        while self._version <= version and asyncio.get_running_loop().time() < ends:  # noqa: ASYNC110  (published from any thread)
            await asyncio.sleep(0.02)
        return self._version

    def publish(self, change: Any = None) -> None:
        """A new view, after ``change(bench)``."""
        with self._lock:
            if change is not None:
                change(self._bench)
            self._version += 1

    async def try_channels(self) -> list[dict[str, Any]]:
        return await asyncio.to_thread(try_channels, self.channels, "shed", NOW, 10.0)

    async def why(self, alarm: str) -> dict[str, Any]:
        bench = self.bench()
        standing = next((one for one in bench["alarms"] if one["id"] == alarm), None)
        if standing is None and alarm not in self.quiet:
            raise Refused(f"there is no alarm {alarm}")
        rule, _, subject = alarm.partition(":")
        decided = bench.get("decisions", {}).get(alarm, self.decided)
        return {"id": alarm, "rule": rule, "subject": subject, "alarm": standing, "decisions": decided}

    async def report(self, days: int) -> dict[str, Any]:
        self.asked_days.append(days)
        return a_report(days)

    async def checkup(self) -> dict[str, Any]:
        if self.stuck:
            await asyncio.sleep(3600)
        return checkup(self.facts, NOW)

    async def do(self, command: Command) -> dict[str, Any]:
        if self.stuck:
            await asyncio.sleep(3600)
        self.done.append(command)
        with self._lock:
            result = self._carry_out(command)
            self._version += 1
        return result

    def _carry_out(self, command: Command) -> dict[str, Any]:
        match command:
            case Acknowledge(alarm=name):
                alarm = next((alarm for alarm in self._bench["alarms"] if alarm["id"] == name), None)
                if alarm is None or alarm["state"] != "unacknowledged":
                    raise Refused(f'There is no alarm "{name}" to acknowledge.')
                alarm["state"] = "acknowledged"
                return {"alarm": name}
            case (
                Shelve(alarm=name) | Unshelve(alarm=name) | TakeOutOfService(alarm=name) | PutBackInService(alarm=name)
            ):
                return {"alarm": name}
            case Settle(vessel=name, until=until):
                self._vessel(name)["settling_until"] = as_rfc3339(until)
                return {"vessel": name, "until": as_rfc3339(until)}
            case Work(vessel=name, until=until):
                self._vessel(name)["work_until"] = as_rfc3339(until) if until > NOW else None
                return {"done": "work", "subject": name}
            case Chill(store=name) | Emptied(store=name):
                return self._chilled(name, command)
            case Undo():
                return self._undo(command)
            case Start():
                return self._start(command)
            case SkipStart(start=name):
                plan = self.larder["plan"]
                plan["starts"] = [one for one in plan["starts"] if one["id"] != name]
                return {"start": name}
            case Harvest(batch=name) | Discard(batch=name):
                self._holder(name)["batch"] = None
                return {"batch": name}
            case Subscribe(phone=phone):
                self._phones[phone.id] = phone
                told = {"id": phone.id, "name": phone.name, "since": as_rfc3339(phone.since), "gone": None}
                self._bench["phones"] = [one for one in self._bench.get("phones", []) if one["id"] != phone.id] + [told]
                return {"phone": phone.id}
            case Unsubscribe(phone=name):
                if self._phones.pop(name, None) is None:
                    raise Refused("there is no such phone")
                self._bench["phones"] = [one for one in self._bench["phones"] if one["id"] != name]
                return {"phone": name}
            case Seen():
                self._holder(command.batch)["batch"]["note"] = f"You saw: {command.what}."
                return {"batch": command.batch}
            case _:
                return {"done": kind_of(command), "subject": subject_of(command)}

    def _start(self, command: Start) -> dict[str, Any]:
        vessel = self._vessel(command.vessel)
        if vessel["batch"] is not None:
            raise Refused(f"{command.vessel} holds {vessel['batch']['id']}. Harvest or discard it first.")
        name = command.batch or f"{command.vessel}-2026-03-02"
        vessel["batch"] = a_batch(command.vessel, id=name, stage="soaking", lot=command.lot, cysts_g=command.cysts_g)
        return {**asdict(command), "batch": name}

    def _undo(self, command: Undo) -> dict[str, Any]:
        """Takes it off the list, as the service would; what it stood for stays."""
        listed = self._bench.get("undoable", [])
        left = [one for one in listed if (one["kind"], one["subject"], rfc3339(one["at"])) != _key(command)]
        if len(left) == len(listed):
            raise Refused("there is no such entry to undo")
        self._bench["undoable"] = left
        return {"done": "undo", "subject": command.subject}

    def _chilled(self, name: str, command: Chill | Emptied) -> dict[str, Any]:
        store = next(store for store in self._bench["stores"] if store["id"] == name)
        if isinstance(command, Chill) and store["content"] is not None and store["content"]["gas"] != "open":
            raise Refused(f"{name} holds a closed bag. Note that it is empty first.")
        store["content"] = a_content(command.nauplii, command.litres) if isinstance(command, Chill) else None
        return {"store": name}

    def _vessel(self, name: str) -> dict[str, Any]:
        found: dict[str, Any] = next(vessel for vessel in self._bench["vessels"] if vessel["id"] == name)
        return found

    def _holder(self, batch: str) -> dict[str, Any]:
        for vessel in self._bench["vessels"]:
            if vessel["batch"] and vessel["batch"]["id"] == batch:
                found: dict[str, Any] = vessel
                return found
        raise Refused(f'There is no open batch "{batch}".')
