"""Alarms about what is heard: probes and the broker."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_probes
from monitor.guide.entry import PRACTICE, Default, Entry, length, setting
from monitor.settings.calibration import LEAST_APART_C
from monitor.settings.probes import Probe

ENTRIES: Final = (
    Entry(
        "probe-silent",
        "probe",
        "A probe is silent",
        "medium; low when its vessel is empty",
        "Nothing has come from this probe for three of its periods and a minute. Its last value is shown "
        "with its age and is "
        "not used as a fresh one. Where it watches the air over hatched nauplii, the urgent alarm is another: no news.",
        (
            "Look at the vessel yourself: air, warmth.",
            "Check the probe's power and battery, its cable, the Wi-Fi.",
            "`swimup listen` tells whether it still publishes, and on which topic.",
        ),
        "It is not repeated. Many at once, or a lost broker, are told as one alarm and hold this one back. It is "
        "over, and told, "
        "when the probe speaks again.",
        (
            Default(
                "waits",
                "three of the probe's periods and 1 min",
                f"one or two lost messages are nothing; {PRACTICE}",
                "`every` in `[[probe]]`",
            ),
        ),
        "Tell the period at which it really reports in `every`, or give it a steadier link.",
    ),
    Entry(
        "broker-lost",
        "site",
        "The broker is not reached",
        "medium",
        "The service has no link to the MQTT broker, so it hears no probe at all. Forecasts go on from the last "
        "values and the "
        "room's habit, and grow uncertain.",
        (
            "Look at the vessels yourself.",
            "See whether the broker runs, has power and network: `systemctl status mosquitto`.",
            "Nothing in the log? `swimup check` tells what is wrong with the address.",
        ),
        "It is not repeated. It holds back the alarms of the probes, but never that of air over hatched nauplii. "
        "The link is tried "
        "again all the time; when it is back you are told.",
        (
            Default(
                "waits",
                length(rules_probes.BROKER_ON_DELAY),
                f"a broker that is restarted is back by then; {PRACTICE}",
            ),
        ),
        "Find out why it comes and goes: power, Wi-Fi, a second client with the same id.",
    ),
    Entry(
        "calibration-due",
        "probe",
        "A probe is due for calibration",
        "low",
        "It was held against a true temperature so long ago that it may have drifted since. A degree moves a hatch by "
        "hours. Its readings are used as before.",
        (
            "Stir crushed ice into a little water, wait 5 min, hold the probe in it: that is 0 C. Note what it tells.",
            "Hold it beside a fever thermometer in water of about 37 C. Note both.",
            "Write both points and the day into `calibration`, and restart the monitor.",
        ),
        "It is told once, and stands until the configuration has a newer day. It ends without a word.",
        (
            Default(
                "is due after",
                length(setting(Probe, "recalibrate_after")),
                f"cheap sensors drift by tenths of a degree over years; {PRACTICE}",
                "`recalibrate_after` in `[[probe]]`",
            ),
            Default(
                "two points are",
                f"{LEAST_APART_C:g} C apart or more",
                f"nearer ones make a small mistake large elsewhere; {PRACTICE}",
                "`calibration` in `[[probe]]`",
            ),
        ),
        "Give it a longer `recalibrate_after`, or leave the calibration out for a probe that you trust.",
    ),
)
