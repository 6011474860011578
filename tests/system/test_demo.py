from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.system, pytest.mark.broker]

DEMO = Path(__file__).parents[2] / "deploy/demo.py"


@pytest.mark.parametrize("more", [[], ["--embedded"]], ids=["mosquitto", "embedded broker"])
def test_the_demo_runs_and_ends_by_itself(more: list[str], tmp_path: Path) -> None:
    """Within its first seconds the demo shows ETAs and rings the phone, and ends with exit code 0 and a summary."""
    done = subprocess.run(
        [sys.executable, str(DEMO), "--minutes", "0.1", *more],
        capture_output=True,
        text=True,
        timeout=300,
        env={"HOME": str(tmp_path), "PATH": "/usr/bin:/bin:/usr/sbin"},
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    summary = re.search(r"Summary: (\d+) different ETAs were shown, (\d+) alerts reached the phone", done.stdout)
    assert summary is not None
    assert int(summary[1]) >= 1
    assert int(summary[2]) >= 1
    assert ("embedded" in done.stdout) is bool(more)
