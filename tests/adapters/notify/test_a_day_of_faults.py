"""A day with a push server that fails in every way, and a service that is killed again and again."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import DAY, HOUR, MINUTE, AlarmState, Priority
from monitor.store import Store
from tests.adapters.notify.counterparts import WebServer
from tests.adapters.notify.day_child import PROBE, T0, Life, alarms_at, name_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

HERE: Final = Path(__file__).parent
TIMEOUT_S: Final = 2.0
HELD_UP_S: Final = 0.9 * TIMEOUT_S
"""No turn of the loop may take so long: one that waits for a try that hangs takes all of its time."""
LONGEST_LIFE_S: Final = 0.2
PATIENCE_S: Final = 60.0
FAULTS: Final = {
    "refuse": "is not reached: Connection refused",
    "hang": "gave no answer within",
    "silent": "gave no answer within",
    "429": "status 429) and asks to wait 300 s",
    "500": "status 500",
    "410": "status 410",
    "expired": "certificate has expired",
}
"""What the server does, and what a try says that met it."""


@dataclass(frozen=True)
class Taken:
    """A letter that the server took, and the life that told it."""

    life: int
    token: str
    text: str


class PushServer(WebServer):
    """Takes letters only while it works; it can be stopped between taking one and saying so."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.taken: list[Taken] = []
        self.unanswered = 0
        self.took = threading.Event()
        self.may_say = threading.Event()
        self.may_say.set()
        self._over = threading.Event()

    def turn(self, mode: str) -> None:
        self._over.set()
        self._over = threading.Event()
        self.answer = int(mode) if mode.isdigit() else None if mode == "silent" else 200
        self.headers = {"Retry-After": "300"} if mode == "429" else {}
        {"refuse": self.away, "hang": self.hang, "expired": self.show_expired}.get(mode, self.work)()

    def judge(self, path: str, headers: Mapping[str, str], body: bytes) -> int | None:
        answer, over = super().judge(path, headers, body), self._over
        if answer is None:
            self.unanswered += 1
            over.wait(PATIENCE_S)
        elif answer == 200:
            said = json.loads(body)
            self.taken.append(Taken(int(said["site"]), said["id"], f"{said['title']}\n{said['text']}"))
            self.took.set()
            self.may_say.wait(TIMEOUT_S / 2)
        return answer


class Nursery:
    """Bears lives, each a process of its own that is killed by its id."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process

    def bear(self, life: Life) -> int:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(asdict(life)) + "\n")
        self._process.stdin.flush()
        return self._answer()

    def end(self) -> int:
        """How the present life ended; waits for that."""
        return self._answer()

    def _answer(self) -> int:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the nursery has ended"
        return int(line)


@contextmanager
def nursery(url: str, errors: Path) -> Iterator[Nursery]:
    command = [sys.executable, "-m", "tests.adapters.notify.day_child", url]
    with (
        errors.open("w") as log,
        subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, text=True, cwd=HERE.parents[2]
        ) as process,
    ):
        yield Nursery(process)


class Day:
    """The day as it is played: lives that are killed while the server turns from one mode to the next."""

    def __init__(self, folder: Path, manner: str, speed: float, dice: random.Random) -> None:
        self.server = PushServer(folder)
        self.store, self.diary = folder / "swimup.db", folder / "diary"
        self.kills = 0
        self.killed_at: dict[int, float] = {}
        self.modes: Counter[str] = Counter()
        self._manner, self._speed, self._dice = manner, speed, dice
        self._left: list[str] = []
        self.url = f"https://127.0.0.1:{self.server.port}/push"

    def play(self, nest: Nursery, kills: int, met: Sequence[str], aimed: int) -> None:
        """``met``: modes of which a life lasts until a try has met it. ``aimed``: kills between taking and saying so."""
        kinds = [*met, *["aimed"] * aimed]
        kinds += [""] * (kills - len(kinds))
        self._dice.shuffle(kinds)
        self._next_mode()
        for kind in kinds:
            if kind == "aimed":
                self._aimed_life(nest)
            elif kind:
                self._meeting_life(nest, kind)
            else:
                self._short_life(nest)

    def finish(self, nest: Nursery, until: int) -> None:
        """The server works, and one more life goes on until the day is over and all is told."""
        self._turn("200")
        nest.bear(self._new_life(until))
        assert nest.end() == 0

    def _short_life(self, nest: Nursery) -> None:
        lasts, turns = self._dice.uniform(0.03, LONGEST_LIFE_S), self._dice.random()
        if turns < 0.5:
            self._life(nest, lasts)
        else:  # the server turns in the middle of it
            process = nest.bear(self._new_life())
            time.sleep(lasts * (turns - 0.5) * 2)
            self._next_mode()
            time.sleep(lasts * (1 - turns) * 2)
            self._kill(nest, process)

    def _life(self, nest: Nursery, lasts: float) -> None:
        process = nest.bear(self._new_life())
        time.sleep(lasts)
        self._kill(nest, process)

    def _meeting_life(self, nest: Nursery, mode: str) -> None:
        self._turn(mode)
        before, patience = self._met(mode), time.monotonic() + PATIENCE_S
        process = nest.bear(self._new_life())
        while self._met(mode) == before:
            assert time.monotonic() < patience, f"no try met {mode}"
            time.sleep(0.02)
        self._kill(nest, process)
        self._next_mode()

    def _met(self, mode: str) -> int:
        return self.diary.read_text().count(FAULTS[mode]) if self.diary.exists() else 0

    def _aimed_life(self, nest: Nursery) -> None:
        self._turn("200")
        self.server.took.clear()
        self.server.may_say.clear()
        process = nest.bear(self._new_life())
        assert self.server.took.wait(PATIENCE_S), "nothing was told"
        self._kill(nest, process)
        self.server.may_say.set()

    def _new_life(self, until: int | None = None) -> Life:
        number, server = self.kills, self.server
        paths = str(self.store), str(self.diary), self.url, str(server.ca_file)
        return Life(number, *paths, TIMEOUT_S, self._speed, self._manner, until)

    def _kill(self, nest: Nursery, process: int) -> None:
        os.kill(process, signal.SIGKILL)
        self.killed_at[self.kills] = time.monotonic()
        assert nest.end() == -signal.SIGKILL
        self.kills += 1

    def _next_mode(self) -> None:
        """All modes in turn, in another order each time; between them it works now and then."""
        if not self._left:
            self._left = [*FAULTS, "200", "200", "200"]
            self._dice.shuffle(self._left)
        self._turn(self._left.pop())

    def _turn(self, mode: str) -> None:
        self.modes[mode] += 1
        self.server.turn(mode)

    # -- what came of it

    def notes(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.diary.read_text().splitlines()]

    def longest_turn(self) -> float:
        """Seconds, of all lives; the last turn of each ends with the kill."""
        begun: dict[int, list[float]] = {}
        for note in self.notes():
            if note["what"] == "turn":
                begun.setdefault(note["life"], []).append(note["at"])
        ends = [(times, [*times[1:], self.killed_at.get(life, times[-1])]) for life, times in begun.items()]
        return max(end - begin for times, after in ends for begin, end in zip(times, after, strict=True))

    def minutes_within_hangs(self) -> list[int]:
        """For each try that hung until its end, how many readings were committed meanwhile."""
        found, taken, out = [], 0, 0
        for note in self.notes():
            match note["what"]:
                case "turn":
                    taken = note["taken"]
                case "out":
                    out = taken
                case "back" if FAULTS["silent"] in note["error"]:
                    found.append(taken - out)
        return found

    def repeated(self) -> tuple[Counter[int], Counter[tuple[int, str]]]:
        """For each life how many letters it told that a later life told again; and what one life told more than once."""
        tellers: dict[str, list[int]] = {}
        for one in self.server.taken:
            tellers.setdefault(one.token, []).append(one.life)
        again = Counter(life for lives in tellers.values() for life in sorted(set(lives))[:-1])
        within = Counter((one.life, one.token) for one in self.server.taken)
        return again, Counter({key: count for key, count in within.items() if count > 1})


@contextmanager
def day(folder: Path, manner: str, speed: float, dice: int) -> Iterator[tuple[Day, Nursery]]:
    made = Day(folder, manner, speed, random.Random(dice))  # noqa: S311  (no secret: the same day each time)
    try:
        with nursery(made.url, folder / "errors") as nest:
            yield made, nest
    finally:
        made.server.turn("refuse")


def assert_nothing_is_missing(played: Day, store: Store, priority: Priority) -> None:
    """Each minute has its reading, once; all that happened is in the store, once; no letter waits or was given up."""
    times = [reading.time for reading in store.readings(0, probe=PROBE)]
    assert times == list(range(T0, times[-1] + MINUTE, MINUTE))
    happened = [(one.time, one.alarm.id, one.alarm.state) for time in times for one in alarms_at(time, priority)]
    assert [(one.time, one.alarm.id, one.alarm.state) for one in store.transitions(0)] == happened
    letters = {one.id: one for one in store.letters_since(0)}
    assert {one.state for one in letters.values()} <= {"told", "merged", "withdrawn"}
    came = {one.token for one in played.server.taken}
    assert {one.token for one in letters.values() if one.state == "told"} <= came
    assert all(letters[one.merged_into].state != "withdrawn" for one in letters.values() if one.merged_into is not None)


def assert_no_more_repeated_than_crashed(played: Day) -> int:
    """A crash repeats at most the one letter that was under way; nothing else comes twice. Give back how many did."""
    again, within = played.repeated()
    assert not within
    assert set(again.values()) <= {1}
    assert max(again, default=0) < played.kills
    return again.total()


def test_a_day_of_faults_and_kills_loses_nothing_and_holds_up_nothing(tmp_path: Path) -> None:
    """Through every fault and 200 kills all is told, a crash repeats one letter at most, and what hangs holds up no reading."""
    with day(tmp_path, "at once", 2500, 20) as (played, nest):
        played.play(nest, 200, [*FAULTS] * 3, aimed=20)
        played.finish(nest, T0 + DAY)
    assert played.kills == 200
    with Store.open(played.store) as store:
        assert len(list(store.readings(0))) > DAY // MINUTE
        assert_nothing_is_missing(played, store, Priority.HIGH)
        due = Counter(name_of(one.alarm.since) for one in store.transitions(0))
        letters = store.letters_since(0)
    # Each by itself: the trouble and its end are letters of their own, under the same token however often they came.
    assert {one.state for one in letters} == {"told"}
    assert len(letters) == due.total()
    told = {one.token: one.text for one in played.server.taken}
    assert Counter(re.findall(r"Cold \d+\.", " ".join(told.values()))) == due
    assert all(one.text == told[one.token] for one in played.server.taken)
    assert 10 <= assert_no_more_repeated_than_crashed(played) <= played.kills
    errors = [note["error"] for note in played.notes() if note["what"] == "back" and not note["ok"]]
    for mode, says in FAULTS.items():
        assert played.modes[mode] >= 3
        assert sum(says in error for error in errors) >= 3, f"hardly a try met {mode}"
    assert played.server.unanswered >= 3
    assert played.longest_turn() < HELD_UP_S
    hung = played.minutes_within_hangs()
    assert len(hung) >= 3
    assert min(hung) >= 5, "readings waited for a letter that hung"


def test_a_day_told_with_manners_forgets_nothing_of_its_digests(tmp_path: Path) -> None:
    """What is put off for the night and put together is named in a letter all the same, through faults and kills."""
    with day(tmp_path, "with manners", 4000, 4) as (played, nest):
        played.play(nest, 40, (), aimed=10)
        played.finish(nest, T0 + 12 * HOUR)
    with Store.open(played.store) as store:
        assert_nothing_is_missing(played, store, Priority.MEDIUM)
        begun = {name_of(one.time) for one in store.transitions(0) if one.alarm.state is AlarmState.UNACKNOWLEDGED}
        assert any(one.state == "merged" for one in store.letters_since(0))
    named = set(re.findall(r"Cold \d+\.", " ".join(one.text for one in played.server.taken)))
    assert named == begun
    assert assert_no_more_repeated_than_crashed(played) <= played.kills
