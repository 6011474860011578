from __future__ import annotations

import subprocess
import sys

PROBE = """
import sys
from monitor.cli import swimup
try:
    swimup(["--help"])
except SystemExit as end:
    assert end.code == 0
heavy = {"starlette", "uvicorn", "pydantic", "numpy", "pint", "httpx", "cryptography", "apprise", "paho", "jinja2"}
print(sorted(heavy & {name.partition(".")[0] for name in sys.modules}))
"""

PROBE_STATUS = """
import sys
import monitor.cli.status
heavy = {"starlette", "uvicorn", "numpy", "apprise", "paho", "cryptography"}
print(sorted(heavy & {name.partition(".")[0] for name in sys.modules}))
"""


def _last_line(program: str) -> str:
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1]


def test_help_loads_none_of_the_commands() -> None:
    """``swimup --help`` answers at once, on a small board too."""
    assert _last_line(PROBE) == "[]"


def test_status_loads_nothing_of_the_server() -> None:
    """Asking the daemon does not load the daemon."""
    assert _last_line(PROBE_STATUS) == "[]"
