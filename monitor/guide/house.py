"""Alarms about the house itself: so that it never falls silent unnoticed."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_site, rules_weekly
from monitor.core.house import QUIET_AGAIN
from monitor.guide.entry import PRACTICE, Default, Entry, length, setting, table
from monitor.settings.models import Alarms

ENTRIES: Final = (
    Entry(
        "disk-low",
        "site",
        "The disk is nearly full, or takes nothing",
        "low; medium when readings are no longer saved",
        "When the disk is full, alarms and forecasts go on from memory; readings are no longer kept, and a restart "
        "would forget "
        "them.",
        (
            "Make room: delete or move what is not needed.",
            "Readings are not saved: don't restart before there is room.",
            "Room enough, and still not saved: the card may be worn out. Copy the store, replace the card.",
        ),
        "It is told once; it turns medium when the store takes nothing. It is over, and told, when there is room "
        "again.",
        (
            Default(
                "low is",
                f"less than {setting(Alarms, 'disk_free_mb'):g} MB or {setting(Alarms, 'disk_free_percent'):g} % free, "
                f"whichever is "
                f"more; never with {rules_site.DISK_ROOMY / 1e9:g} GB free",
                f"weeks are left to act; {PRACTICE}",
                f"{table('[alarms]', 'disk_free_mb')}, `disk_free_percent`",
            ),
            Default("not saved for", length(rules_site.UNSAVED_AFTER), f"a disk may be busy for so long; {PRACTICE}"),
        ),
        "Give the store a larger disk: `path` in `[store]`.",
    ),
    Entry(
        "clock-wrong",
        "site",
        "The clock is wrong, or may be",
        "low; medium when it is surely wrong",
        "Feeding times, quiet hours and the times in alarms are off by as much as the clock. Minutes left in an "
        "alarm stay right. A board that starts with an unset clock holds its readings for up to 10 min and dates them "
        "anew once it is set; what is kept after that without a set clock carries a mark.",
        (
            "Compare the time on the page with a watch.",
            "It is right: acknowledge.",
            "It is wrong: see whether network and time service work (`timedatectl`), or set it by hand.",
        ),
        "It is told once, and is over when the clock is kept by the network again.",
        (
            Default(
                "waits",
                f"{length(rules_site.CLOCK_ON_DELAY)}; {length(rules_site.UNSYNCED_ON_DELAY)} where it only may be "
                f"wrong",
                f"a board without a clock of its own begins wrong and is set soon; {PRACTICE}",
            ),
        ),
        "Give the board a clock module, or a time service that it reaches.",
    ),
    Entry(
        "delivery-failing",
        "channel",
        "Alerts don't get through a channel",
        "medium",
        "A channel has refused letters, or hung, for long. Whoever relies on it hears nothing. Letters wait and are "
        "tried again.",
        (
            "Look at the page more often meanwhile.",
            "`swimup alarm test` tells for each channel what fails and what to do.",
            "An expired password, certificate or token: renew it, restart the service.",
        ),
        "It goes through the channels that work. It is over, and told, when a letter has got through.",
        (
            Default(
                "waits",
                length(setting(Alarms, "delivery_on_delay")),
                f"short outages end by themselves; {PRACTICE}",
                table("[alarms]", "delivery_on_delay"),
            ),
        ),
        "Have a second channel that takes another way.",
    ),
    Entry(
        "restarted",
        "site",
        "The monitor was restarted",
        f"low; medium after a gap of {length(rules_site.LONG_GAP)} or when it restarts again and again",
        "The service ended without warning and runs again: a power cut, a crash, or a hang that its watchdog ended. "
        "Nothing was "
        "watched in between; the text says from when to when.",
        (
            "Look at the vessels if nobody has since.",
            "No power cut? See its log (`journalctl -u swimup`), the power supply and the card.",
        ),
        f"It is told once, once more when it keeps restarting, and is over after {length(QUIET_AGAIN)} without "
        f"another.",
        (
            Default(
                "again and again is",
                f"{rules_site.LOOP} times over {length(rules_site.LOOP_LASTS)}",
                f"one is an accident; {PRACTICE}",
            ),
        ),
        "A better power supply is the usual cure.",
    ),
    Entry(
        "weekly-test",
        "site",
        "Weekly test",
        f"low; medium when nobody acknowledged it for {length(rules_weekly.TEST_UNANSWERED)}",
        "Nothing is wrong. It is the only way to find out that a channel reaches nobody before it matters.",
        (
            "Acknowledge it.",
            "A phone stayed silent? `swimup alarm test` tells why.",
        ),
        "Acknowledged, it is over. Not acknowledged, it says so once, and begins anew the next week.",
        (
            Default(
                "when",
                f"{setting(Alarms, 'test_day').capitalize()} {setting(Alarms, 'test_at')}",
                f"an hour at which most people look at their phone; {PRACTICE}",
                f"{table('[alarms]', 'test_day')}, `test_at`; `test = false` for none",
            ),
        ),
        "Choose another day or hour with `test_day` and `test_at`.",
    ),
    Entry(
        "push-gone",
        "site",
        "A phone takes no more pushes",
        "low",
        "The push service of a phone says that its subscription is gone: the browser was reset, the app removed, "
        "the permission "
        "taken back. Nobody notices a phone that is silent.",
        (
            "Open the page on that phone and subscribe it again, under the same name.",
            "Not in use any more? Remove it.",
            "`swimup alarm test` shows whether the others still get through.",
        ),
        "It is told once through what still works, and is over when the phone is back or removed.",
        (Default("waits", "not at all", "the push service has said so for good"),),
        "Remove phones that are not in use.",
    ),
)
