"""A channel to every phone that is subscribed on the page: one letter goes to all of them, each encrypted for it alone.

What each phone has taken of a letter is remembered until the letter is done with, so that one phone that cannot be
reached lets no other ring twice. That is forgotten at a restart; a phone replaces what it shows of the same alarm.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections import OrderedDict
from typing import TYPE_CHECKING, Final, Literal
from urllib.parse import urlsplit

from monitor.core.light import light
from monitor.notify.asking import BrokenOff, system_reason, tls_reason
from monitor.notify.outbox import DeliveryFailed
from monitor.notify.pushing import URGENCY, NotAllowed, Way, audience, judged, lasts_s, sealed, text_of, topic_of
from monitor.notify.webhook_channel import TOO_MANY_REQUESTS_WAIT, seconds_to_wait
from monitor.web.options import WebProblem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.core.phones import Phone
    from monitor.notify.phonebook import PhoneBook
    from monitor.notify.pushkey import PushKey
    from monitor.store import Letter

_GONE: Final = {404, 410}  # RFC 8030 section 7.3
_WAIT: Final = {429, 503}
_TRY_AGAIN: Final = {408, 425, 429}
REMEMBERED: Final = 200  # letters in hand at once

NO_PHONE: Final = "no phone is subscribed"
SUBSCRIBE: Final = 'Open the page on a phone, choose "Alarms on this phone" and subscribe it. Letters wait meanwhile.'


AGAIN: Final = "Remove it on the page, and subscribe it again."


@light
class _End:
    """How a try with one phone ended. ``refused``: this phone won't take it, which must not hold the letter up for others."""

    kind: Literal["told", "gone", "later", "refused"]
    why: str = ""
    todo: str = ""
    wait: float | None = None  # seconds it asks for


class WebPushChannel:
    """``timeout``: seconds for a whole try with all phones."""

    def __init__(
        self,
        id: str,  # noqa: A002  (it is the channel's id)
        book: PhoneBook,
        key: PushKey,
        *,
        way: Way | None = None,
        timeout: float = 10.0,
    ) -> None:
        self._id = id
        self._book = book
        self._key = key
        self._way = Way() if way is None else way
        self._timeout = timeout
        self._lock = threading.Lock()
        self._done: OrderedDict[str, set[str]] = OrderedDict()  # by letter: the phones that have it
        self._not_before: dict[str, float] = {}  # by phone, monotonic seconds

    @property
    def id(self) -> str:
        return self._id

    def __repr__(self) -> str:
        return f"WebPushChannel({self._id!r})"

    def send(self, letter: Letter) -> None:
        """Raises DeliveryFailed until some phone has it and none may still take it later."""
        phones = self._book.phones()
        if not phones:
            raise DeliveryFailed(f"channel {self._id}: {NO_PHONE}", todo=SUBSCRIBE)
        with self._lock:
            has = self._done.setdefault(letter.token, set())
            while len(self._done) > REMEMBERED:
                self._done.popitem(last=False)
        left = [phone for phone in phones if phone.id not in has]
        ends = asyncio.run(self._all(left, letter)) if left else []
        for phone, end in zip(left, ends, strict=True):
            self._note(phone, end, has)
        self._judge(letter, list(zip(left, ends, strict=True)), bool(has))

    def _note(self, phone: Phone, end: _End, has: set[str]) -> None:
        if end.kind == "told":
            has.add(phone.id)
        elif end.kind == "gone":
            self._book.gone(phone)
        with self._lock:
            if end.wait is not None:
                self._not_before[phone.id] = time.monotonic() + end.wait
            else:
                self._not_before.pop(phone.id, None)

    def _judge(self, letter: Letter, ends: Sequence[tuple[Phone, _End]], told: bool) -> None:
        later = [(phone, end) for phone, end in ends if end.kind == "later"]
        refused = [(phone, end) for phone, end in ends if end.kind == "refused"]
        if told and not later:
            with self._lock:
                self._done.pop(letter.token, None)
            return
        trouble = later or refused
        if not trouble:  # all that were left are gone
            names = " and ".join(phone.name for phone, _ in ends)
            raise DeliveryFailed(
                f"channel {self._id}: {names} takes no more pushes (its push service dropped it), and {NO_PHONE} otherwise",
                todo=SUBSCRIBE,
            )
        some = f" (of {len(self._book.phones())} phones; the others have it)" if told else ""
        said = "; ".join(f"{phone.name}: {end.why}" for phone, end in trouble)
        # One phone that must wait keeps no other letter from the rest.
        waits = [end.wait for _, end in trouble]
        asked = [wait for wait in waits if wait is not None]
        alone = len(asked) == len(waits) == len(self._book.phones())
        raise DeliveryFailed(
            f"channel {self._id}: {said}{some}", retry_after=min(asked) if alone else None, todo=trouble[0][1].todo
        )

    # -- one try

    async def _all(self, phones: Sequence[Phone], letter: Letter) -> list[_End]:
        text = text_of(letter)
        return await asyncio.gather(*(self._one(phone, letter, text) for phone in phones))

    async def _one(self, phone: Phone, letter: Letter, text: bytes) -> _End:
        where = urlsplit(phone.endpoint).hostname or "its push service"
        with self._lock:
            wait = self._not_before.get(phone.id, 0.0) - time.monotonic()
        if wait > 0:
            return _End("later", f"{where} asks to wait {wait:.0f} s", "Wait.", wait)
        try:
            judged(phone.endpoint)
            headers = self._headers(phone, letter)
            body = sealed(text, phone)
        except NotAllowed as why:
            return _End("refused", str(why), AGAIN)
        except (WebProblem, ValueError) as problem:
            return _End("refused", f"cannot be encrypted for: {problem}", "Subscribe it again.")
        try:
            async with asyncio.timeout(self._timeout):
                status, answer = await self._way.push(phone, body, headers, self._timeout)
        except NotAllowed as why:
            return _End("refused", str(why), AGAIN)
        except TimeoutError:
            todo = "See whether this machine reaches the internet; pushes need it."
            return _End("later", f"{where} gave no answer within {self._timeout:g} s", todo)
        except (OSError, BrokenOff) as error:
            return self._unreached(where, error)
        return _judged(where, status, answer)

    def _headers(self, phone: Phone, letter: Letter) -> dict[str, str]:
        return {
            "Authorization": self._key.authorization(audience(phone.endpoint)),
            "Content-Encoding": "aes128gcm",
            "Content-Type": "application/octet-stream",
            "TTL": str(lasts_s(letter, time.time_ns() // 1_000_000)),
            "Topic": topic_of(letter.alarm),
            "Urgency": URGENCY[letter.priority],
            "User-Agent": "swimup",
        }

    def _unreached(self, where: str, error: Exception) -> _End:
        distrust = tls_reason(error)
        if distrust is not None:
            todo = (
                "Its certificate is not the push service's, or this machine's clock is wrong, or ca_file is not right."
            )
            return _End("later", f"{where} cannot be trusted: {distrust}", todo)
        todo = "See whether this machine reaches the internet; pushes need it."
        return _End("later", f"{where} is not reached: {system_reason(error)}", todo)


def _judged(where: str, status: int, answer: Mapping[str, str]) -> _End:
    if 200 <= status < 300:
        return _End("told")
    if status in _GONE:
        return _End("gone")
    if status in (401, 403):
        todo = "See this machine's clock. If push.key beside the store is new, subscribe the phone again."
        return _End("refused", f"{where} does not accept our signature (status {status})", todo)
    if 300 <= status < 500 and status not in _TRY_AGAIN:
        return _End("refused", f"{where} refuses the letter (status {status})", "Subscribe the phone again.")
    wait = None
    if status in _WAIT:
        wait = seconds_to_wait(answer.get("retry-after"), answer.get("date"), time.time())
    if status == 429 and wait is None:
        wait = TOO_MANY_REQUESTS_WAIT
    asks = "" if wait is None else f" and asks to wait {wait:.0f} s"
    return _End("later", f"{where} cannot take the letter now (status {status}){asks}", "Wait.", wait)
