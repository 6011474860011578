"""Levels and pulses of the board's pins, by gpiozero, which is an extra: ``pip install 'swimup[probe]'``."""

from __future__ import annotations

import threading
import warnings
from typing import TYPE_CHECKING, Any

from monitor.probe.fault import SensorFault

if TYPE_CHECKING:
    from monitor.probe.settings import Pin

PULL = {"up": True, "down": False, "none": None}


class PinSensor:
    """One pin, claimed at the first measuring and then kept. Where it cannot be had, the next measuring tries again."""

    def __init__(self, pin: Pin) -> None:
        self._pin = pin
        self._high = pin.running == "high"
        self._device: Any = None
        self._count = 0
        self._lock = threading.Lock()

    def measure(self) -> int | str:
        """The count of pulses since the start, or "running" or "stopped". Raises SensorFault."""
        if self._device is None:
            self._device = self._claim()
        if not self._pin.pulses:
            return "running" if bool(self._device.pin.state) is self._high else "stopped"
        with self._lock:
            return self._count

    def close(self) -> None:
        if self._device is not None:
            self._device.close()
            self._device = None

    def _claim(self) -> Any:
        try:
            import gpiozero  # noqa: PLC0415  (only boards with something on a pin have it)
        except ImportError:
            raise SensorFault("pins need gpiozero: pip install 'swimup[probe]', and lgpio on a real board") from None
        pull = PULL[self._pin.pull]
        # It looks for one library after the other that can move pins; that it did not find the first is no news.
        warnings.filterwarnings("ignore", category=gpiozero.PinFactoryFallback)
        try:
            device = gpiozero.DigitalInputDevice(
                self._pin.pin,
                pull_up=pull,
                active_state=True if pull is None else None,
                bounce_time=self._pin.bounce / 1000 or None,
            )
        except gpiozero.BadPinFactory as error:
            raise SensorFault(
                "nothing here can read pins: pip install lgpio, and run it on the board itself"
            ) from error
        except (gpiozero.GPIOZeroError, OSError, RuntimeError) as error:
            raise SensorFault(f"GPIO {self._pin.pin} cannot be had: {error}") from error
        if self._pin.pulses:
            # gpiozero calls a pulled-up pin active when it is low; what counts here is the level itself.
            if self._high is (pull is not True):
                device.when_activated = self._tick
            else:
                device.when_deactivated = self._tick
        return device

    def _tick(self) -> None:
        with self._lock:
            self._count += 1
