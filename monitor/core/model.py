"""The words the whole monitor shares: readings, batches, log entries, alarms and what the core gives back.

Times are integer UTC milliseconds (``Ms``). Units are fixed: degrees Celsius, litres, grams, grams per litre,
seconds. A value that came from a probe is an integer number of thousandths (``milli``), so that sums do not depend
on the order in which readings arrive.
"""

from __future__ import annotations

from dataclasses import field
from enum import IntEnum, StrEnum
from typing import TYPE_CHECKING, Any, Literal

from monitor.core.food import Costs, FishSpec, FoodAhead, SkipStart, StrainSpec
from monitor.core.house import Began, Host
from monitor.core.light import light
from monitor.core.log import LogEntry
from monitor.core.phones import PhoneEvent

if TYPE_CHECKING:
    from monitor.core.dispatch import Manners

Ms = int
"""UTC milliseconds since 1970-01-01T00:00Z."""

SECOND: Ms = 1_000
MINUTE: Ms = 60_000
HOUR: Ms = 3_600_000
DAY: Ms = 86_400_000
SLOT: Ms = 5 * MINUTE
"""Width of one slot of a probe's history: the grain at which progress is summed."""
HISTORY: Ms = 12 * DAY
"""As long slots are kept in memory: a batch in the cold and some days before it."""


class Refused(Exception):  # noqa: N818  (it is an answer to a person, not a failure of the program)
    """A log entry or command that cannot be taken; the message says what was found and what would be allowed."""


class Measures(StrEnum):
    """What a probe measures."""

    WATER = "water"
    ROOM = "room"
    STORE = "store"
    AIR = "air"
    TANK = "tank"


class Air(IntEnum):
    """What an air probe says; the ``state`` of its readings."""

    STOPPED = 0
    RUNNING = 1
    WEAK = 2  # it runs, but gives less air than it should: a torn membrane, a clogged stone, a kinked hose

    @property
    def word(self) -> AirWord:
        return _AIR_WORDS[self]

    @property
    def milli(self) -> int:
        """Thousandths of the full air it counts for in a slot's sum.

        Weak air is taken for a fifth (an assumption, see ``oxygen``). 199 and not 200: 801 is prime to 1000, so that the sum of
        a slot still tells whether anything in it was stopped.
        """
        return AIR_MILLI[self]


AirWord = Literal["running", "weak", "stopped", "unknown"]
_AIR_WORDS: dict[Air, AirWord] = {Air.STOPPED: "stopped", Air.RUNNING: "running", Air.WEAK: "weak"}
AIR_MILLI: dict[int, int] = {Air.STOPPED: 0, Air.RUNNING: 1000, Air.WEAK: 199}


class Quality(IntEnum):
    """How far a reading can be trusted. Only OK and CLAMPED are used for estimates and as a fresh value."""

    OK = 0
    SUSPECT = 1  # kept with its reason, never used
    LAST_KNOWN = 2  # retained by the broker, no time of its own
    QUEUED = 3  # waited at the broker for an unknown time
    CLAMPED = 4  # good value; its own time was in the future, the time of arrival stands instead

    usable: bool

    def __init__(self, value: int) -> None:
        self.usable = value in (0, 4)  # OK and CLAMPED; kept, since every reading is asked several times

    @property
    def word(self) -> str:
        return self.name.lower().replace("_", "-")


# ---------------------------------------------------------------------------------------------------------------
# What the keeper configured


@light
class AirRule:
    """How an air probe's samples become running, weak or stopped.

    ``level``: a number; running at or above ``threshold``, stopped below ``threshold - deadband``, in between as before.
    What runs is weak below ``weak_below`` and no longer weak from ``weak_below + deadband`` on; ``None`` tells no weak air.
    ``pulses``: a running count; the rate per minute between two counts is compared like a level.
    ``word``: the decoder has already told.
    """

    kind: Literal["word", "level", "pulses"] = "word"
    threshold: float = 0.0
    deadband: float = 0.0
    weak_below: float | None = None  # above ``threshold``


@light
class ProbeSpec:
    id: str
    measures: Measures
    vessel: str | None  # water and air probes belong to a vessel; room probes to none
    every: Ms  # the period at which it is expected to report
    low: float  # a value outside low..high is suspect (C for temperatures)
    high: float
    max_rate: float  # a faster change than this many units per minute, sustained, is suspect
    air: AirRule = AirRule()
    store: str | None = None  # the cold store it belongs to: store probes, and air probes instead of a vessel
    tank: str | None = None  # the tank with eggs or larvae that it belongs to
    calibrate_by: Ms | None = None  # when its calibration is too old; None when it has none


@light
class VesselSpec:
    id: str
    litres: float
    cold_below: float  # C, alarm limit
    hot_above: float  # C, alarm limit
    fall_c: float = 2.0  # C, a fall this large ...
    fall_within: Ms = HOUR  # ... within this time is a cold snap


@light
class LotSpec:
    """One tin of cysts."""

    id: str
    strain: str = ""
    label_hatch_percent: float | None = None
    grams: float | None = None  # what was in it when it was new; None when nobody told
    low_below: float | None = None  # grams left that are few; None is two usual batches, see ``rules_cysts``
    cysts_per_g: float | None = None  # cysts in a gram, hatching or not; None when nobody counted


@light
class ColdStoreSpec:
    """A place where harvested nauplii are kept cold."""

    id: str
    warm_above: float = 10.0  # C; nauplii keep below 10 C up to 24 h under slight aeration (Ghent course)
    cold_below: float = 1.0  # C; near freezing kills; 2-4 C was survived (KKT1, J. Biol. Res. 2005)


@light
class AlarmSettings:
    """Delays and deadbands; common practice, no source.

    An air alarm waits ``air_on_delay`` or a tenth of the minutes that are left, whichever is shorter.
    """

    deadband_c: float = 0.5
    on_delay: Ms = 5 * MINUTE
    off_delay: Ms = 10 * MINUTE
    air_on_delay: Ms = 60 * SECOND
    settling: Ms = 15 * MINUTE
    disk_share: float = 0.05
    disk_bytes: int = 200_000_000
    delivery_on_delay: Ms = 10 * MINUTE
    test_day: int | None = 6  # of the weekly test, 0 is Monday; None for none
    test_at: int = 18 * 60  # minutes after local midnight


@light
class SiteSpec:
    id: str
    timezone: str  # IANA name
    feeding_times: tuple[int, ...]  # minutes after local midnight, sorted
    probes: dict[str, ProbeSpec]
    vessels: dict[str, VesselSpec]
    lots: dict[str, LotSpec] = field(default_factory=dict)
    alarms: AlarmSettings = AlarmSettings()
    cold_stores: dict[str, ColdStoreSpec] = field(default_factory=dict)
    manners: Manners | None = None  # when a person is told; without them at once
    strains: dict[str, StrainSpec] = field(default_factory=dict)  # by id, and by each other name of one
    fish: dict[str, FishSpec] = field(default_factory=dict)
    costs: Costs = field(default_factory=Costs)
    food_chance: float = 0.98  # with which every meal is to be full
    food_most_g_l: float | None = None  # g of cysts per litre that a vessel can take; None: by its size


# ---------------------------------------------------------------------------------------------------------------
# What comes in


@light
class Sample:
    """One value out of one message, as a decoder read it, already in the internal unit, not yet judged."""

    value: float | None = None
    running: bool | None = None  # an air word
    weak: bool = False  # an air word that says: running, but weakly
    time: Ms | None = None  # the probe's own time, if it told one
    seq: int | None = None  # the probe's own sequence number, if it told one

    @staticmethod
    def of_air(air: Air, time: Ms | None = None, seq: int | None = None) -> Sample:
        """What an air word says."""
        return Sample(running=air is not Air.STOPPED, weak=air is Air.WEAK, time=time, seq=seq)


@light
class Reading:
    """A judged sample. Identity in the store is (time, probe, n)."""

    probe: str
    time: Ms
    milli: int  # value in thousandths of the internal unit; an air word's is ``Air.milli``
    quality: Quality = Quality.OK
    reason: str = ""  # why it is not OK; where it is, empty or a word about its time
    state: int | None = None  # air only: one of ``Air``
    seq: int | None = None
    own_time: bool = False
    arrived: Ms = 0
    n: int = 0  # tells apart readings of one probe in one millisecond; given by the store

    @property
    def value(self) -> float:
        return self.milli / 1000


@light
class Acknowledge:
    time: Ms
    alarm: str
    by: str = ""


@light
class Shelve:
    """A person puts an alarm off until ``until``, not longer than its priority allows; it comes back by itself."""

    time: Ms
    alarm: str
    until: Ms
    by: str = ""


@light
class Unshelve:
    time: Ms
    alarm: str
    by: str = ""


@light
class TakeOutOfService:
    """A person takes one rule of one subject out until they put it back; it stays in sight meanwhile."""

    time: Ms
    alarm: str
    by: str = ""
    why: str = ""


@light
class PutBackInService:
    time: Ms
    alarm: str
    by: str = ""


AlarmCommand = Acknowledge | Shelve | Unshelve | TakeOutOfService | PutBackInService


@light
class BrokerLink:
    """The link to the broker went up or down."""

    time: Ms
    up: bool


@light
class Tick:
    time: Ms


@light
class ClockSet:
    """The system clock jumped; ``time`` is what it says now, ``was`` what it would have said."""

    time: Ms
    was: Ms


@light
class ClockUnset:
    """The system clock is not set yet, or now it is: what comes meanwhile without a time of its own enters no history."""

    time: Ms
    unset: bool


Event = (
    Reading
    | LogEntry
    | AlarmCommand
    | PhoneEvent
    | BrokerLink
    | ClockSet
    | ClockUnset
    | Began
    | Host
    | FoodAhead
    | SkipStart
    | Tick
)


# ---------------------------------------------------------------------------------------------------------------
# What the core knows and gives back


class Stage(StrEnum):
    SOAKING = "soaking"
    DEVELOPING = "developing"
    HATCHING = "hatching"
    READY = "ready"
    PAST = "past"
    ENDED = "ended"
    LOST = "lost"


@light
class Span:
    """A central 80 % range with its median; of shares (0..1), or of instants in Ms. ``None`` where it never comes."""

    lo: float | None
    mid: float | None
    hi: float | None


@light
class Estimate:
    """What is known of one batch at one instant. ``hatched`` is of all cysts; t10..t90 of those that will hatch."""

    time: Ms
    batch: str
    stage: Stage
    hatched: Span
    t10: Span
    t50: Span
    t90: Span
    ready: Span
    water_c: float | None  # newest usable water temperature
    water_time: Ms | None
    air: AirWord
    note: str = ""  # a sentence a keeper needs beside the numbers; empty when there is none
    best_until: float | None = None  # ms: when the best time for feeding ends
    first_stage: float | None = None  # share of the swimmers still in the first stage, 0..1
    energy: float | None = None  # share of its energy the middle one has left, 0..1
    best_reason: str = ""  # why the best time ends then


class Priority(StrEnum):
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """States in the words of ISA-18.2 / IEC 62682."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


@light
class Alarm:
    """One alarm as it stands. ``id`` is ``<rule>:<subject>``, for example ``air-stopped:birch``."""

    id: str
    rule: str
    subject: str  # a vessel, probe or batch id, or "site"
    priority: Priority
    state: AlarmState
    since: Ms  # when the condition began
    changed: Ms  # when ``state`` last changed
    title: str  # what, in a few words: "Air stopped in birch"
    text: str  # since when, and what follows
    todo: str  # what to do, first things first
    reason: str  # why the last decision was to notify or not
    deadline: Ms | None = None  # when harm may begin: the low end of what is known
    told: Ms | None = None  # when a person was last told of it as it stands
    again: Ms | None = None  # acknowledged: when it comes back if the trouble still stands
    until: Ms | None = None  # shelved: when that ends

    @property
    def standing(self) -> bool:
        return self.state is not AlarmState.NORMAL

    @property
    def over(self) -> bool:
        """The trouble is gone, whether or not anybody has taken note."""
        return self.state in (AlarmState.RETURNED, AlarmState.NORMAL)


@light
class Transition:
    """An alarm went from one state to another, or is told again as it stands.

    ``notify`` is the pure decision to tell a person, ``reason`` its why.
    """

    time: Ms
    alarm: Alarm  # as it stands after
    before: AlarmState
    notify: bool
    reason: str


@light
class BatchChanged:
    """A batch was opened, ended, or got new evidence: its estimate should be told again."""

    time: Ms
    batch: str


@light
class SlotClosed:
    """One slot of a probe's history is complete and may be kept: ``count`` readings summing to ``total`` thousandths.

    ``slot`` is the instant at which it begins. When it was told before, these readings came late: add them to it.
    """

    probe: str
    slot: Ms
    count: int
    total: int


@light
class Learned:
    """Something to be kept that neither slots nor log can tell: what a tin has taught, what a batch began with.

    ``key`` is ``lot/<id>``, ``vessel/<id>``, ``prior/<batch>``, ``expected/<batch>``, ``house/<what>``, ``food/<what>``
    or ``undo/recent``;
    ``document`` is ready for JSON and takes the place of the one before; an empty one takes it away.
    """

    time: Ms
    key: str
    document: dict[str, Any]


@light
class Logged:
    """The engine itself made a log entry, and has taken it already: it is to be kept like a keeper's."""

    time: Ms
    entry: LogEntry


Effect = Transition | BatchChanged | SlotClosed | Learned | Logged
