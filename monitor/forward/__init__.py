"""A copy of the record for time-series servers: kept up to date, and complete after any outage."""

from monitor.forward.forwarder import Forwarder
from monitor.forward.posting import Poster, SendFailed, Server
from monitor.forward.sender import Pace

__all__ = ["Forwarder", "Pace", "Poster", "SendFailed", "Server"]
