"""A door into a running monitor, for tests: it names the threads that run, and ends one of them from within.

``Ended`` is no ``Exception``: whatever a thread catches to go on with, it does not catch this. A thread that waits is struck when
it wakes, as it would be by a fault of its own.
"""

from __future__ import annotations

import ctypes
import sys
import threading
import traceback
from multiprocessing.connection import Client, Listener
from typing import Any, Final

DOOR: Final = "door"  # the thread's own name; it is none of the monitor's


class Ended(BaseException):
    """What ends a thread."""


def open_door(path: str) -> None:
    """Answer there from now on: to ``None`` with the names of all threads, to a name with whether one of them was struck.

    How a thread ended is written in one piece: of six that are struck together Python writes the pieces as they come.
    """
    threading.excepthook = _tell
    listener = Listener(path, family="AF_UNIX")
    threading.Thread(target=_serve, args=(listener,), name=DOOR, daemon=True).start()


def ask(path: str, what: str | None) -> Any:
    """Knock at a door from outside."""
    with Client(path, family="AF_UNIX") as line:
        line.send(what)
        return line.recv()


def _tell(ended: threading.ExceptHookArgs) -> None:
    if ended.exc_type is SystemExit:
        return
    name = "" if ended.thread is None else ended.thread.name
    lines = traceback.format_exception(ended.exc_type, ended.exc_value, ended.exc_traceback)
    sys.stderr.write(f"Exception in thread {name}:\n{''.join(lines)}")


def _serve(listener: Listener) -> None:
    while True:
        with listener.accept() as line:
            what = line.recv()
            line.send(_names() if what is None else _strike(what))


def _names() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name != DOOR]


def _strike(name: str) -> bool:
    idents = [thread.ident for thread in threading.enumerate() if thread.name == name]
    for ident in idents:
        ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(ident or 0), ctypes.py_object(Ended))
    return bool(idents)
