"""Planning in a process of its own: what it gives, and what is said when it can't."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.core.pantry_codec import to_json
from monitor.planner.run import PlanFailed, plan_in_child
from tests.unit.planner.rooms import room

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parents[3]

IN_A_FRESH_PROCESS = """
import importlib, json, sys
from monitor.core.pantry_codec import from_json
for name in json.loads(sys.argv[1]):
    importlib.import_module(name)
from monitor.planner.run import plan_in_child
ahead = plan_in_child(from_json(sys.stdin.buffer.read()), 60, 1024)
print(json.dumps({"starts": len(ahead.plan.starts), "meals": len(ahead.outlook.meals), "scipy": "scipy" in sys.modules}))
"""


def _python(code: str) -> Sequence[str]:
    return (sys.executable, "-c", code)


def test_the_daemon_gets_a_plan_and_never_loads_scipy() -> None:
    """A process that has loaded all of the service gets a plan with a start in it, and has no scipy afterwards."""
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in sorted((ROOT / "monitor/service").glob("*.py"))
    ]
    told = subprocess.run(
        [sys.executable, "-c", IN_A_FRESH_PROCESS, json.dumps(names)],
        cwd=ROOT,
        input=to_json(room()),
        capture_output=True,
        check=True,
        timeout=120,
    )
    found = json.loads(told.stdout)
    assert found["scipy"] is False
    assert found["starts"] > 0
    assert found["meals"] > 0


@pytest.mark.parametrize("memory_mb", [60, 200])
def test_too_little_memory_is_told(memory_mb: int) -> None:
    """Whether not even Python starts well or the libraries do not fit: the keeper reads how much it was."""
    with pytest.raises(PlanFailed, match=f"more memory than the {memory_mb} MB"):
        plan_in_child(room(), 30, memory_mb)


@pytest.mark.parametrize(("memory_mb", "words"), [(1024, "failed: SystemError: it is odd"), (30, "more memory than")])
def test_an_error_of_any_kind_is_of_memory_where_there_is_none_left(memory_mb: int, words: str) -> None:
    """Python itself says SystemError now and then when a library found no room; with room it is what it says."""
    code = (
        f"import sys; sys.argv[1:] = ['--seconds', '5', '--memory-mb', '{memory_mb}']\n"
        "from monitor.planner import __main__ as m\n"
        "def broken(*_): raise SystemError('it is odd')\n"
        "m._plan = broken\n"
        "sys.exit(m.main())"
    )
    with pytest.raises(PlanFailed, match=words):
        plan_in_child(room(), 30, memory_mb, command=_python(code))


def test_a_child_that_crashes_is_told_with_the_memory_it_had() -> None:
    """A library that goes on without the memory it was refused; whoever ends a child from outside says so by other signals."""
    with pytest.raises(PlanFailed, match=r"crashed \(signal 11\).*more memory than the 300 MB"):
        plan_in_child(room(), 30, 300, command=_python("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"))
    with pytest.raises(PlanFailed, match=r"ended from outside \(signal 15\)"):
        plan_in_child(room(), 30, 300, command=_python("import os, signal; os.kill(os.getpid(), signal.SIGTERM)"))


def test_a_child_that_hangs_is_ended() -> None:
    """When the time is over the child is ended, and it is said how long it had."""
    with pytest.raises(PlanFailed, match=r"not done after 0\.5 s"):
        plan_in_child(room(), 0.5, 1024, command=_python("import time; time.sleep(60)"))


def test_processor_time_is_limited_by_the_system() -> None:
    """A child that reckons for ever is ended by its own limit, also when nobody waits for it."""
    code = (
        "import sys; sys.argv[1:] = ['--seconds', '1', '--memory-mb', '1024']\n"
        "from monitor.planner import __main__ as m\n"
        "m._plan = lambda *_: [0 for _ in iter(int, 1)]\n"
        "sys.exit(m.main())"
    )
    with pytest.raises(PlanFailed, match="not done after 60 s"):
        plan_in_child(room(), 60, 1024, command=_python(code))


def test_a_pantry_larger_than_a_pipe_reaches_a_child_that_is_slow_to_listen() -> None:
    """Two megabytes, read a second late, arrive whole."""
    pantry = replace(room(), feeding_times=tuple(range(300_000)))
    code = (
        "import sys, time; time.sleep(1.0); text = sys.stdin.buffer.read(); "
        "sys.stderr.write(f'{len(text)} bytes'); sys.exit(1)"
    )
    with pytest.raises(PlanFailed, match=f"{len(to_json(pantry))} bytes"):
        plan_in_child(pantry, 30, 1024, command=_python(code))


def test_a_stop_ends_it_at_once() -> None:
    """Who is told to stop does not wait for a plan."""
    stop = threading.Event()
    stop.set()
    with pytest.raises(PlanFailed, match="stopped"):
        plan_in_child(room(), 60, 1024, stop=stop, command=_python("import time; time.sleep(60)"))


@pytest.mark.parametrize(
    ("code", "why"),
    [
        ("print('{\"time\": ')", "no plan"),
        ("print('{}')", "no plan"),
        ("import os; os.kill(os.getpid(), 9)", "signal 9"),
        ("raise RuntimeError('the pot is cold')", "the pot is cold"),
    ],
)
def test_nonsense_is_told(code: str, why: str) -> None:
    """Garbage, half an answer, a kill and a fault are each told as what they are."""
    with pytest.raises(PlanFailed, match=why):
        plan_in_child(room(), 30, 1024, command=_python(code))


def test_a_pantry_that_cannot_be_read_is_told() -> None:
    """The child says so by how it ends, when what it is given is no pantry."""
    ended = subprocess.run(
        [sys.executable, "-m", "monitor.planner", "--seconds", "30", "--memory-mb", "1024"],
        cwd=ROOT,
        input=b'{"now": "never"}',
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert ended.returncode == 5
    assert b"no Pantry" in ended.stderr
