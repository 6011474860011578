"""Every address of the API: what it is for, what it takes and what it answers. Only the description is made from this."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.web import answers as told
from monitor.web import brood_answers, cost_answers, food_answers, plan_answers, room_answers, tin_answers
from monitor.web import past_answers as past
from monitor.web.bench_answers import Bench
from monitor.web.bodies import (
    AlarmBody,
    DiscardBody,
    HarvestBody,
    SeenBody,
    ServiceBody,
    SettlingBody,
    ShelveBody,
    StartBody,
)
from monitor.web.brood_bodies import BroodBody, BroodEndedBody, CountedBody, EaterBody, SwamUpBody
from monitor.web.checkup_answers import Checkup
from monitor.web.count_answers import Counted
from monitor.web.counted import CountBody
from monitor.web.food_bodies import CorrectBody, DrawnBody, FeedingsBody, TinBody, WeighedBody
from monitor.web.history import LONGEST_PAGE, PAGE, POINTS
from monitor.web.plan_api import NothingBody, PlannedBody
from monitor.web.push import SubscriptionBody
from monitor.web.rights import Scope
from monitor.web.salt_answers import Salted
from monitor.web.salted import SaltBody
from monitor.web.stores import ChillBody, EmptiedBody
from monitor.web.undoing import UndoBody
from monitor.web.work import WorkBody

if TYPE_CHECKING:
    from pydantic import BaseModel

JSON: Final = "application/json"
STREAM: Final = "text/event-stream"
_TIME: Final = {"type": "string", "format": "date-time"}
METRICS: Final = "application/openmetrics-text"


@light
class Asked:
    """A parameter of the query."""

    name: str
    schema: dict[str, Any]
    text: str
    required: bool = False


@light
class Operation:
    """``path`` is below /api/v1. ``answer`` is a model, or None when there is no content; ``media`` when it is not JSON."""

    name: str
    method: str
    path: str
    summary: str
    answer: type[BaseModel] | None
    body: type[BaseModel] | None = None
    query: tuple[Asked, ...] = ()
    status: int = 200
    refusals: tuple[int, ...] = ()
    text: str = ""
    tagged: bool = False
    open: bool = False
    media: str = JSON
    outside: bool = False
    scope: Scope = Scope.READ


DAYS: Final = Asked(
    "days", {"type": "integer", "minimum": 1, "maximum": 30, "default": 30}, "How many days to look back."
)
COST_DAYS: Final = Asked(
    "days", {"type": "integer", "minimum": 1, "maximum": 36_500}, "How many days to look back; all when it is not said."
)


def looks(name: str, path: str, summary: str, answer: type[BaseModel] | None, **more: Any) -> Operation:
    """An address that only tells."""
    return Operation(name, "get", path, summary, answer, **more)


def does(name: str, path: str, summary: str, body: type[BaseModel] | None, **more: Any) -> Operation:
    """An address that acts, by scope "log" unless another is given.

    All may be refused by the bench (409), misunderstood (400, 422), or get no answer in time (503).
    """
    wrong = () if body is None else (400, 415, 422)
    refusals = tuple(sorted({403, 409, 413, 503, *wrong, *more.pop("refusals", ())}))
    answer, scope = more.pop("answer", told.Done), more.pop("scope", Scope.LOG)
    return Operation(name, "post", path, summary, answer, body, refusals=refusals, scope=scope, **more)


NOW: Final = (
    looks("bench", "/bench", "The whole bench at one instant.", Bench, tagged=True),
    looks(
        "health",
        "/health",
        "Whether the page answers and the broker is linked; open to all, so it tells little.",
        told.Health,
        open=True,
    ),
    looks("alarms", "/alarms", "All alarms that are not normal.", told.Alarms, tagged=True),
    looks(
        "alarm",
        "/alarms/{alarm}",
        "One alarm: as it stands, what was decided about it, and the guide's entry.",
        told.AlarmStory,
        tagged=True,
        refusals=(404, 503),
    ),
    looks(
        "report",
        "/report",
        "How much the alarms asked of a person.",
        told.Report,
        query=(DAYS,),
        tagged=True,
        refusals=(422, 503),
    ),
    looks(
        "costs",
        "/costs",
        "What food has cost: by batch, tin, brood and month, and which tin is the cheapest.",
        cost_answers.CostAccount,
        query=(COST_DAYS,),
        tagged=True,
        refusals=(422, 503),
    ),
    looks(
        "rooms",
        "/rooms",
        "Our own room, and other rooms as their monitors tell of themselves at our broker.",
        room_answers.Rooms,
        tagged=True,
    ),
    looks(
        "checkup",
        "/checkup",
        "How machine and service fare: versions, disk, card, clock, broker, probes, channels, memory, restarts.",
        Checkup,
        tagged=True,
        refusals=(503,),
    ),
    looks("description", "/openapi.json", "This document.", told.Description, tagged=True, open=True),
)

SINCE: Final = Asked(
    "since", _TIME, "From then on, that instant included; without it a day before `until`. RFC 3339 with a zone."
)
UNTIL: Final = Asked("until", _TIME, "Up to then, that instant not included; without it up to now.")
LIMIT: Final = Asked(
    "limit", {"type": "integer", "minimum": 1, "maximum": LONGEST_PAGE, "default": PAGE}, "Items on a page at most."
)
AFTER: Final = Asked("after", {"type": "string"}, "`next` of the page before.")
AFTER_ID: Final = Asked(
    "after", {"type": "integer", "minimum": 0, "default": 0}, "`next` of the page before, or the last id you have."
)
MISFITS: Final = (422, 503)


def recalls(name: str, path: str, summary: str, answer: type[BaseModel], *query: Asked, **more: Any) -> Operation:
    """An address that tells of the past."""
    refusals = (*MISFITS, *more.pop("refusals", ()))
    return looks(name, path, summary, answer, query=query, tagged=True, refusals=refusals, **more)


PAST: Final = (
    recalls("probes", "/probes", "All probes that are configured or on record.", past.KnownProbes),
    recalls(
        "trend",
        "/probes/{probe}/trend",
        "The course of a probe over any span, in at most so many points.",
        past.Trend,
        SINCE,
        UNTIL,
        Asked(
            "points",
            {"type": "integer", "minimum": 2, "maximum": POINTS, "default": POINTS},
            "At most so many; the first interval may begin a little before `since`, as intervals are whole.",
        ),
        refusals=(404,),
    ),
    recalls(
        "readings",
        "/readings",
        "Single readings as they were judged, in order of time, as long as they are kept.",
        past.Readings,
        Asked("probe", {"type": "string"}, "Of this probe only."),
        SINCE,
        UNTIL,
        AFTER,
        LIMIT,
        refusals=(404,),
    ),
    recalls("batches", "/batches", "All batches, the one begun last first.", past.PastBatches, AFTER, LIMIT),
    recalls("batch", "/batches/{batch}", "One batch with all that is known of it.", past.BatchRecord, refusals=(404,)),
    recalls("log", "/log", "What was written down, in order of its ids.", past.Log, AFTER_ID, LIMIT),
    recalls(
        "transitions",
        "/transitions",
        "What alarms went through, in order of its ids; without `since` from the beginning.",
        past.Transitions,
        SINCE,
        UNTIL,
        AFTER_ID,
        LIMIT,
    ),
    recalls(
        "told",
        "/told",
        "Estimates as they were told, in order of their ids: what a forecast was worth is seen afterwards.",
        past.Tolds,
        Asked("batch", {"type": "string"}, "Of this batch only."),
        AFTER_ID,
        LIMIT,
    ),
)

ACTS: Final = (
    does("acknowledge", "/alarms/{alarm}/acknowledge", "I have seen this alarm.", AlarmBody, scope=Scope.ALARM),
    does(
        "shelve", "/alarms/{alarm}/shelve", "Put an alarm off; it comes back by itself.", ShelveBody, scope=Scope.ALARM
    ),
    does("unshelve", "/alarms/{alarm}/unshelve", "Take an alarm from its shelf.", AlarmBody, scope=Scope.ALARM),
    does(
        "out-of-service",
        "/alarms/{alarm}/out-of-service",
        "Take a rule of one subject out of service.",
        ServiceBody,
        scope=Scope.ADMIN,
    ),
    does("back-in-service", "/alarms/{alarm}/back-in-service", "Put it back in service.", AlarmBody, scope=Scope.ADMIN),
    does(
        "test-channels",
        "/channels/test",
        "Send a test letter through each channel.",
        None,
        answer=told.ChannelResults,
        scope=Scope.ADMIN,
    ),
    does(
        "start",
        "/batches",
        "A batch is begun. What need not be said: the tin used last, the vessel's litres, 25 g/L, a name of vessel and date.",
        StartBody,
        status=201,
        refusals=(404,),
    ),
    does("seen", "/batches/{batch}/seen", "What was seen on looking into a batch.", SeenBody),
    does("harvest", "/batches/{batch}/harvest", "A batch is harvested.", HarvestBody),
    does("discard", "/batches/{batch}/discard", "A batch is thrown away.", DiscardBody),
    does(
        "count",
        "/count",
        "What counted drops tell of a vessel. It only reckons; nothing is logged.",
        CountBody,
        answer=Counted,
        scope=Scope.READ,
    ),
    does(
        "salt",
        "/salt",
        "How much salt to put into water, what an instrument's reading means, and how to mend water. It only reckons.",
        SaltBody,
        answer=Salted,
        scope=Scope.READ,
    ),
    does(
        "settling",
        "/vessels/{vessel}/settling",
        "Air off on purpose for some minutes; without a number as long as the site has set.",
        SettlingBody,
        answer=told.DoneUntil,
        refusals=(404,),
    ),
    does(
        "work",
        "/vessels/{vessel}/work",
        "Hands in a vessel: its alarms wait for some minutes; 0 when it is done.",
        WorkBody,
        answer=told.DoneUntil,
        refusals=(404,),
    ),
    does(
        "undo",
        "/undo",
        "An entry was a mistake: as if it had never been made, for ten minutes after it was logged.",
        UndoBody,
        answer=told.Undone,
    ),
    does("chill", "/stores/{store}/chill", "Nauplii went into a cold store.", ChillBody, refusals=(404,)),
    does("emptied", "/stores/{store}/emptied", "A cold store is empty.", EmptiedBody, refusals=(404,)),
)

FOOD: Final = (
    looks(
        "tins",
        "/tins",
        "All tins: what is left, what they have taught, what they cost.",
        tin_answers.Tins,
        tagged=True,
        refusals=(422,),
    ),
    does("tin", "/tins/{lot}", "A tin as it was bought, opened, kept. What is not said stays as told.", TinBody),
    does("weighed", "/tins/{lot}/weighed", "So much is left in a tin, whatever the record says.", WeighedBody),
    does(
        "feedings",
        "/feedings",
        "One meal, of one brood or several: out of a cold store, of a harvest, or from somewhere else.",
        FeedingsBody,
        answer=food_answers.FedDone,
        status=201,
    ),
    does("drawn", "/stores/{store}/drawn", "Taken out of a cold store and not fed.", DrawnBody, refusals=(404,)),
    looks(
        "ledger",
        "/ledger",
        "Every entry that amounts rest on, newest first, as it stands and as it was first written; 50 a page.",
        food_answers.Ledger,
        query=(
            Asked("since", _TIME, "What happened from then on. RFC 3339 with a zone."),
            Asked("kind", {"type": "string"}, "Of this kind only."),
            Asked("page", {"type": "integer", "minimum": 1, "default": 1}, "Which page."),
        ),
        tagged=True,
        refusals=(422, 503),
    ),
    does(
        "correct",
        "/corrections",
        "An entry was wrong: what of it is to be otherwise, or that it never was.",
        CorrectBody,
    ),
)

PHONES: Final = (
    looks(
        "push-key", "/push/key", "The key with which a browser subscribes to pushes.", told.PushKey, refusals=(404, 503)
    ),
    looks("phones", "/push/subscriptions", "The phones that are subscribed; never their addresses.", told.Phones),
    does(
        "subscribe",
        "/push/subscriptions",
        "A browser's own subscription, and a name for the phone.",
        SubscriptionBody,
        answer=told.Subscribed,
        status=201,
        scope=Scope.ADMIN,
        refusals=(404,),
    ),
    Operation(
        "unsubscribe",
        "delete",
        "/push/subscriptions/{phone}",
        "No more pushes to a phone.",
        None,
        status=204,
        refusals=(403, 409, 503),
        scope=Scope.ADMIN,
    ),
)

STREAMS: Final = (
    looks(
        "events",
        "/events",
        "What changes, as it does (server-sent events).",
        None,
        media=STREAM,
        text=(
            "Event `bench`: what of the bench has changed since the event before, the whole bench at first; its data is a "
            "BenchEvent. Event `alarm`: what an alarm went through; its data is a PastTransition. Ages alone are no change. "
            "With `Last-Event-ID` no alarm is missed over a lost link, and the bench is told again only if it has changed. "
            "A comment comes at least every 15 s while nothing happens; the stream ends when the service stops."
        ),
    ),
    looks(
        "metrics",
        "/metrics",
        "What a monitoring system gathers, in OpenMetrics 1.0 text. Not below /api/v1.",
        None,
        media=METRICS,
        outside=True,
    ),
)

AHEAD: Final = (
    looks(
        "food",
        "/food",
        "Demand, supply and plan of the coming days; an empty object before the first look ahead.",
        plan_answers.Food,
        tagged=True,
    ),
    does(
        "startPlanned",
        "/plan/{start}/start",
        "A planned start was made: begins the batch with the planned values, or with those that are told.",
        PlannedBody,
        status=201,
        refusals=(404,),
    ),
    does(
        "skipPlanned",
        "/plan/{start}/skip",
        "Not now: nothing is planned for its vessel for half a day.",
        NothingBody,
        refusals=(404,),
    ),
    looks(
        "calendar",
        "/calendar",
        "The address of the calendar (RFC 5545) of starts, harvests and meals; it needs no log-in, its token is its key.",
        plan_answers.CalendarAddress,
        scope=Scope.ADMIN,  # it opens the calendar to whoever has it, also after they may look no more
    ),
    does(
        "renewCalendar",
        "/calendar/renew",
        "A new address for the calendar: the one before shows nothing any more.",
        NothingBody,
        answer=plan_answers.CalendarAddress,
        scope=Scope.ADMIN,
    ),
)

BROODS: Final = (
    looks(
        "broods", "/broods", "Broods and other eaters: when larvae swim up, and what they need.", brood_answers.Broods
    ),
    looks("fish", "/fish", "The table of fish, each figure with its source.", brood_answers.FishTable),
    does("brood", "/broods", "Tell of a brood, or tell it anew.", BroodBody),
    does("counted", "/broods/{brood}/counted", "So many larvae are left.", CountedBody),
    does("swamUp", "/broods/{brood}/swam-up", "They were seen to swim up.", SwamUpBody, refusals=(404,)),
    does("broodEnded", "/broods/{brood}/ended", "They need no nauplii any more.", BroodEndedBody),
    does("eater", "/eaters", "Others get so many nauplii a day; 0 ends it.", EaterBody),
)

OPERATIONS: Final = (*NOW, *PAST, *ACTS, *FOOD, *AHEAD, *BROODS, *PHONES, *STREAMS)
