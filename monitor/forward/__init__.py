"""A copy of the record for time-series servers: kept up to date, and complete after any outage."""

from monitor.forward.forwarder import Forwarder

__all__ = ["Forwarder"]
