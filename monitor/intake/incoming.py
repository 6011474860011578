"""One message as it came, and the order in which messages may be acknowledged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import Ms


@light
class Incoming:
    """A message of a bound topic.

    A redelivery is recognised by (``session``, ``mid``, ``payload``) with ``dup`` set: packet ids are the broker's, and
    stay with an unacknowledged message as long as the broker keeps the session.
    """

    topic: str
    payload: bytes
    qos: int  # 0 needs no acknowledgement; acknowledging it does no harm
    retain: bool  # from the broker's retained store, of unknown age; never set on a live message
    dup: bool  # delivered before, not acknowledged then
    mid: int  # packet id; 0 at QoS 0
    arrived: Ms  # the session's clock
    queued: bool  # waited at the broker, or delivered before: its age is unknown
    session: int  # grows when the broker has lost what it knew of us
    connection: int  # which connection brought it; an acknowledgement is worth something there only


class AckOrder:
    """Holds acknowledgements back until all earlier messages have theirs.

    MQTT 5 section 4.6 and MQTT 3.1.1 section 4.6 ask for PUBACKs in the order in which the messages came.
    """

    def __init__(self) -> None:
        self._told: dict[int, bool] = {}  # by packet id, in order of arrival

    def __len__(self) -> int:
        return len(self._told)

    def arrived(self, mid: int, *, told: bool = False) -> None:
        """A message came; ``told`` when nobody else will acknowledge it."""
        self._told[mid] = self._told.get(mid, False) or told

    def tell(self, mid: int) -> None:
        """A message may be acknowledged. Unknown ones are passed over."""
        if mid in self._told:
            self._told[mid] = True

    def forget(self, mid: int) -> None:
        """A message will not be acknowledged on this connection, and must not hold up those behind it."""
        self._told.pop(mid, None)

    def release(self) -> list[int]:
        """The packet ids whose turn has come, in order of arrival; each is given once."""
        turn: list[int] = []
        for mid, told in self._told.items():
            if not told:
                break
            turn.append(mid)
        for mid in turn:
            del self._told[mid]
        return turn
