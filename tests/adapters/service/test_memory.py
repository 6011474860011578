"""What was freed goes back to the system."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

CHILD = """
import sys
from monitor.service.memory import keep_little

if sys.argv[1] == "told":
    keep_little()

def resident():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmRSS:"))

first = b"x" * 8_000_000
del first
before = resident()
large, small = [], []
for number in range(20):
    large.append(b"x" * 1_000_000)
    small.append(b"%1000d" % number)  # lies between two of the large, and stays
large.clear()
print(resident() - before)
"""


def held(how: str) -> int:
    """kB more than before, after large pieces have come and gone in a process that had one before."""
    child = subprocess.run([sys.executable, "-c", CHILD, how], capture_output=True, text=True, check=True, timeout=60)
    return int(child.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only the GNU library keeps what was freed")
def test_large_messages_that_have_gone_are_not_held() -> None:
    """Twenty of a megabyte leave nothing behind; the library left to itself holds nearly all of it."""
    assert held("told") < 2_000
    assert held("left alone") > 10_000
