"""A sign of life to an address of the keeper's choice: sent only while the whole chain is healthy.

Somebody else's machine waits for it, and rings when it fails to come: the one alarm that a dead house can still raise.
"""

from __future__ import annotations

import ssl
import threading
from typing import TYPE_CHECKING, Any, Final, Literal
from urllib.parse import urlsplit

from monitor.core.light import light
from monitor.core.wording import rfc3339
from monitor.loglines import log
from monitor.notify.asking import BrokenOff, ask_now, system_reason, tls_reason

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.service.clock import Clock

TIMEOUT_S: Final = 10.0
FIRST_BACK_OFF_S: Final = 15.0
"""After a failure, doubling up to the usual pause: one lost packet must not look like a dead house."""
VERDICT_HOLDS_S: Final = 60.0
"""An older verdict that all is well is none: whoever gives it may hang."""

State = Literal["off", "waiting", "sent", "withheld", "failing"]


@light
class _Beat:
    """What became of the last one. ``last``: wall time of the newest that arrived."""

    state: State = "waiting"
    reason: str = ""
    last: Ms | None = None


class Heartbeat:
    """``judge`` belongs to the thread of decisions, ``document`` to any; the rest happens in a thread "heartbeat".

    ``every`` in milliseconds. The address may hold a token: only its host is ever told.
    """

    def __init__(self, url: str | None, every: Ms, clock: Clock, timeout: float = TIMEOUT_S) -> None:
        self._url = url
        self._every_s = every / 1000
        self._clock = clock
        self._timeout = timeout
        self._where = "" if url is None else urlsplit(url).hostname or ""
        self._verdict: tuple[float, str] | None = None  # when, and what is wrong
        self._beat = _Beat() if url is not None else _Beat("off")
        self._failures = 0
        self._halt = threading.Event()
        self._judged = threading.Event()
        self._thread: threading.Thread | None = None

    def __repr__(self) -> str:
        return f"Heartbeat({self._where!r})"

    # -- for the thread of decisions

    def start(self) -> None:
        if self._url is not None:
            self._thread = threading.Thread(target=self._run, args=(self._url,), name="heartbeat", daemon=True)
            self._thread.start()

    def stop(self, timeout: float = 1.0) -> None:
        """A sign on its way is not waited for any longer than this."""
        self._halt.set()
        self._judged.set()
        if self._thread is not None:
            self._thread.join(timeout)

    def judge(self, wrong: str) -> None:
        """What keeps it from being sent just now; empty when the whole chain is healthy."""
        self._verdict = (self._clock.steady(), wrong)
        self._judged.set()

    @property
    def alive(self) -> bool:
        """Whether the thread runs, where there should be one."""
        return self._thread is None or self._thread.is_alive()

    def document(self) -> dict[str, Any]:
        """For the bench: ``state``, ``reason``, and when the last one arrived."""
        beat = self._beat
        return {"state": beat.state, "reason": beat.reason, "last": None if beat.last is None else rfc3339(beat.last)}

    # -- the thread

    def _run(self, url: str) -> None:
        self._judged.wait()  # nothing is known before
        while not self._halt.is_set():
            self._halt.wait(self._one(url))

    def _one(self, url: str) -> float:
        """Send it, or don't; seconds until the next."""
        wrong = self._wrong()
        if wrong:
            if self._beat.reason != wrong:
                log.warning("heartbeat.withheld", reason=wrong)
            self._note("withheld", wrong)
            return min(FIRST_BACK_OFF_S, self._every_s)
        failed = self._send(url)
        if failed:
            if self._beat.state != "failing":
                log.warning("heartbeat.failing", host=self._where, reason=failed)
            self._note("failing", failed)
            self._failures += 1
            return min(FIRST_BACK_OFF_S * 2.0 ** min(self._failures - 1, 16), self._every_s)
        if self._beat.state != "sent":
            log.info("heartbeat.sent", host=self._where)
        self._failures = 0
        self._beat = _Beat("sent", "", self._clock.wall())
        return self._every_s

    def _note(self, state: State, reason: str) -> None:
        self._beat = _Beat(state, reason, self._beat.last)

    def _wrong(self) -> str:
        if self._verdict is None:
            return "nothing is known yet"
        when, wrong = self._verdict
        if self._clock.steady() - when > VERDICT_HOLDS_S:
            return "the thread of decisions does not answer"
        return wrong

    def _send(self, url: str) -> str:
        """What went wrong; empty when it arrived. Whatever the answer says beyond its status is of no interest."""
        trust = ssl.create_default_context() if url.startswith("https:") else None
        try:
            status, _ = ask_now("GET", url, {"User-Agent": "swimup"}, timeout_s=self._timeout, trust=trust)
        except TimeoutError:
            return f"{self._where} gave no answer within {self._timeout:g} s"
        except OSError as error:
            return f"{self._where} is not reached: {_said(error)}"
        except (BrokenOff, ValueError) as error:
            return f"{self._where} can't be asked ({error})"
        if 200 <= status < 300:
            return ""
        redirected = "; a redirect is not followed, write the final address" if 300 <= status < 400 else ""
        return f"{self._where} answered with status {status}{redirected}"


def _said(error: BaseException) -> str:
    """What the system said beneath; an address is never part of it."""
    distrust = tls_reason(error)
    return system_reason(error) if distrust is None else f"its certificate can't be trusted ({distrust})"
