"""``swimup probe`` runs where the daemon would not fit."""

from __future__ import annotations

import json
import subprocess
import sys

ASKED = """
import json, sys
import monitor.cli.probe
from monitor.probe.settings import from_document
from_document({
    "board": {"id": "zero", "topic": "shed/zero", "keep": "12 h"},
    "broker": {"url": "mqtt://127.0.0.1"},
    "one_wire": [{"id": "ash-water", "device": "28-0316a2798fff", "every": "1 min"}],
})
print(json.dumps(sorted(sys.modules)))
"""
ALLOWED_OF_OURS = (
    "monitor.cli",
    "monitor.intake",
    "monitor.loglines",
    "monitor.probe",
    "monitor.service",
    "monitor.settings",
)
OF_CORE = {"monitor.core", "monitor.core.light"}  # how values are defined: an empty room and fifty lines of it


def test_a_board_loads_nothing_of_the_daemon() -> None:
    """No numpy, no pint, no store, no page, no core but for one file: what a small board cannot have or need not wait for."""
    told = subprocess.run([sys.executable, "-c", ASKED], capture_output=True, text=True, check=True)
    loaded = json.loads(told.stdout)
    ours = {name for name in loaded if name.startswith("monitor.")}
    assert {name for name in ours if not name.startswith(ALLOWED_OF_OURS)} <= OF_CORE
    heavy = {"numpy", "pint", "sqlite3", "starlette", "httpx", "jinja2", "cryptography", "apprise", "gpiozero"}
    assert heavy & {name.partition(".")[0] for name in loaded} == set()
