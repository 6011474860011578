"""Alarms about probes that tell what cannot be, and about many that fall silent at once."""

from __future__ import annotations

from typing import Final

from monitor.core import causes, doubts, rules_probes, rules_thermal
from monitor.guide.entry import MAINS, PRACTICE, Default, Entry, length

ENTRIES: Final = (
    Entry(
        "probe-suspect",
        "probe",
        "A probe tells nonsense",
        "medium; low when its vessel is empty or only part is nonsense",
        "The probe talks, but nothing it says can be used: 85.0, -127, an impossible jump, no number. Or every "
        "second message of the "
        "last while is so. All is kept with its reason, and none of it is used.",
        (
            "Look at the vessel yourself: air, warmth.",
            f"Look for water in its plug and for a loose contact. {MAINS}",
            "New or moved? Check its unit and decoder in the configuration.",
        ),
        "It is not repeated. It is over, and told, when the probe tells what can be used. It and the silence of the "
        "same probe are "
        "one alarm, whichever came first.",
        (
            Default(
                "waits",
                f"four of its periods and 1 min; {length(rules_probes.DOUBT_ON_DELAY)} when only part is nonsense",
                f"a plug that is just being moved tells nonsense too; {PRACTICE}",
                "`every` in `[[probe]]`",
            ),
            Default("part is", f"{100 * doubts.MOST:g} % of its newest messages", f"a loose contact; {PRACTICE}"),
        ),
        "Replace its cable or plug. If the values are right, widen `low`, `high` or `max_rate` of the probe.",
    ),
    Entry(
        "probe-stuck",
        "probe",
        "A probe is stuck",
        "medium; low for a room probe",
        "It says the very same value for hours in which the water must have moved, by what its neighbours or the "
        "room did. A truly "
        "steady vessel does not ring.",
        (
            "Warm the probe in your hand: the value must move.",
            "It stays: restart the probe, check its cable.",
            "Feel the water until it is mended: the hatch is reckoned from a wrong temperature.",
        ),
        "It is not repeated. It is over, and told, when the value moves.",
        (
            Default(
                "the same for",
                f"{length(rules_thermal.SAME_FOR)}; {length(rules_thermal.ROOM_SAME_FOR)} for a room probe",
                f"a sensor in coarse steps may stand still for an hour or two; {PRACTICE}",
            ),
            Default(
                "must have moved by",
                f"{rules_thermal.MUST_MOVE_C:g} C",
                "three steps of the coarsest usual sensor, which tells half degrees",
            ),
        ),
        "A probe with finer steps tells more; restart it when it hangs again.",
    ),
    Entry(
        "probe-out",
        "probe",
        "A probe may be out of the water",
        "medium; low where only its pattern says so",
        "Its value follows the room and not the water: it hangs in the air, or the vessel is empty. Until it is "
        "back, the hatch is "
        "reckoned from the wrong temperature, and a cold snap told by it alone is held back.",
        (
            "Put it back below the surface and tie it there.",
            "It is in the water? Then the water is as warm as the room: acknowledge.",
        ),
        "It is not repeated. It is over, and told, when it no longer follows the room.",
        (
            Default(
                "near the room is",
                f"within {rules_thermal.NEAR_C:g} C",
                f"two probes differ by as much; {PRACTICE}",
            ),
            Default(
                "by its pattern",
                f"only when the room moves by {rules_thermal.SWING_C:g} C",
                "with less, water and air look alike",
            ),
        ),
        "Tie the cable so that it cannot slip out when you stir or harvest.",
    ),
    Entry(
        "probes-lost",
        "site",
        "Many probes fell silent at once",
        "medium; low when no batch depends on them",
        "Probes that fall silent together have one cause: power or Wi-Fi is lost. A power cut takes the pumps too.",
        (
            "See whether the pumps run. No power: the air has stopped; stir gently, vessel by vessel.",
            "Then the plugs, the fuse, the residual-current device.",
            "Pumps run: the Wi-Fi router.",
        ),
        "It holds back the alarm of each single probe. Over hatched nauplii the urgent alarm of the vessel rings "
        "all the same. It is "
        "over, and told, when they speak again.",
        (
            Default(
                "waits",
                length(causes.LOST_ON_DELAY),
                f"a router that starts again is back by then; {PRACTICE}",
            ),
            Default(
                "many is",
                f"{causes.FEW} or more, of more than one vessel, and one in {causes.SHARE} of those heard; or all",
                f"a shed may hang on two or three plugs; {PRACTICE}",
            ),
        ),
        "Put router and broker on an uninterruptible supply.",
    ),
)
