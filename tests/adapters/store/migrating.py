"""Opens copies of an old store, each in a child of its own that is killed after a given time.

A line of stdin is ``PATH SECONDS``, or ``PATH -`` to let it finish; a line of stdout tells how the child ended and how long it
ran. Forked, so that a hundred of them cost one start of the interpreter.
"""

from __future__ import annotations

import os
import signal
import sys
import time

from monitor.store import Store

LATER = 1_780_000_000_000


def main() -> None:
    for line in sys.stdin:
        path, _, wait = line.strip().rpartition(" ")
        began = time.monotonic()
        child = os.fork()
        if child == 0:
            Store.open(path, now=LATER)
            os._exit(0)
        if wait != "-":
            time.sleep(float(wait))
            os.kill(child, signal.SIGKILL)  # it is not waited for yet, so the number is still its own
        _, status = os.waitpid(child, 0)
        sys.stdout.write(f"{os.waitstatus_to_exitcode(status)} {time.monotonic() - began}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
