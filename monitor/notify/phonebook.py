"""The phones as the channels see them: a copy that the thread of decisions renews, safe from any thread."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from monitor.core.phones import Phone


class PhoneBook:
    """``report`` is called with the id of a phone that is gone, from a channel's thread; it must only pass it on."""

    def __init__(self, report: Callable[[str], None] = lambda _phone: None) -> None:
        self.report = report
        self._lock = threading.Lock()
        self._phones: tuple[Phone, ...] = ()

    def renew(self, phones: Mapping[str, Phone]) -> None:
        """All phones as they are now."""
        with self._lock:
            self._phones = tuple(phone for phone in phones.values() if phone.gone is None)

    def phones(self) -> tuple[Phone, ...]:
        """Those that take pushes."""
        with self._lock:
            return self._phones

    def gone(self, phone: Phone) -> None:
        """Its push service says so: it is told no more, and a person is told of it."""
        with self._lock:
            self._phones = tuple(other for other in self._phones if other != phone)
        self.report(phone.id)
