"""What is told when a sensor gives nothing that can be believed."""

from __future__ import annotations


class SensorFault(Exception):  # noqa: N818  (it speaks of the sensor, not of this program)
    """No reading; the message says to a keeper what was found and what to do."""
