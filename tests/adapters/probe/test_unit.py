"""The service manager's unit for a board."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[3] / "deploy/swimup-probe.service"

pytestmark = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not installed")


def test_the_unit_has_no_mistake(tmp_path: Path) -> None:
    """systemd finds nothing to complain of, once the program is where the unit says; it names a misspelt key on stderr."""
    unit = tmp_path / UNIT.name
    unit.write_text(UNIT.read_text().replace("/opt/swimup/bin/swimup", sys.executable))
    done = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False)
    about = [line for line in done.stderr.splitlines() if UNIT.name in line]
    assert about == []


def test_the_unit_is_shut_in() -> None:
    """Its exposure by systemd's own reckoning is at most 2.0."""
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", str(UNIT)], capture_output=True, text=True, check=False
    )
    (level,) = re.findall(r"Overall exposure level .*: ([0-9.]+)", done.stdout)
    assert float(level) <= 2.0
