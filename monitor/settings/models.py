"""The configuration as a keeper writes it: one class a table, each option with its description, unit and default.

The example file, ``swimup check --show`` and the messages are all made from these classes. Probes have their own module.
Annotations are values here and no texts: pydantic would have each of seventy compiled anew at every start.
"""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import SecretStr

from monitor.core import model as core
from monitor.core.dispatch import Manners, Reach
from monitor.core.rules_weekly import WEEKDAYS
from monitor.settings.base import Section, option
from monitor.settings.forms import Choice, Duration, Flag, ListOf, Number, Quantity, Text
from monitor.settings.names import (
    Address,
    BrokerUrl,
    ChannelUrl,
    ClockTime,
    FileName,
    Host,
    Identifier,
    PageAddress,
    TimeZone,
    Topic,
    WebUrl,
)
from monitor.settings.units import Kind
from monitor.store.retention import Keep

VARIABLE = Text("the name of an environment variable", r"[A-Za-z_][A-Za-z0-9_]*", secret=True)
SECRET_FILE = FileName(secret=True)
CLIENT_ID = Text("letters, digits, hyphens and underscores", r"[A-Za-z0-9_-]+", longest=64)
HOST_NAME = Text('host names such as "shed.home.arpa"', r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*", longest=253)
LINE = Text("one line of text")

Weight = Literal["low", "medium", "high"]
WeekDay = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
ChannelKind = Literal["apprise", "webhook", "mqtt", "webpush"]

SECOND, MINUTE, HOUR, DAY = core.SECOND, core.MINUTE, core.HOUR, core.DAY


class Site(Section):
    """The place that is watched."""

    id: Annotated[str, Identifier()] = option("Short name of the place; part of every MQTT topic.", example="shed")
    timezone: Annotated[str, TimeZone()] = option(
        "IANA time zone; feeding times are local times.", example="Europe/Berlin"
    )
    feeding_times: Annotated[tuple[str, ...], ListOf(ClockTime(), least=1)] = option(
        "When fry are fed, local time. A batch that will miss the next one is worth an alert.",
        example=["07:00", "12:00", "18:00"],
    )


class Broker(Section):
    """The MQTT broker the probes publish to."""

    url: Annotated[str, BrokerUrl()] = option(
        "Where the broker is: mqtt://host:port, or mqtts://host:port with TLS.", default="mqtt://127.0.0.1:1883"
    )
    user: Annotated[str | None, LINE] = option("Name to log in with.", default=None, example="swimup")
    password_file: Annotated[Path | None, SECRET_FILE] = option(
        "File whose first line is the password.", default=None, example="broker.password"
    )
    password_env: Annotated[str | None, VARIABLE] = option(
        "Environment variable that holds the password, instead of a file.",
        default=None,
        example="SWIMUP_BROKER_PASSWORD",
    )
    client_id: Annotated[str, CLIENT_ID] = option(
        "MQTT client id. It must stay the same: the broker keeps missed messages under it.",
        told="swimup-<site id>",
        example="swimup-shed",
    )
    ca_file: Annotated[Path | None, FileName()] = option(
        "Certificate of the authority that signed the broker's, for mqtts:// with your own authority.",
        default=None,
        told="the system's authorities",
        example="broker-ca.pem",
    )
    cert_file: Annotated[Path | None, FileName()] = option(
        "Client certificate, where the broker asks for one.", default=None, example="client.pem"
    )
    key_file: Annotated[Path | None, FileName()] = option(
        "Key of the client certificate.", default=None, example="client.key"
    )
    version: Annotated[Literal["auto", "5", "3.1.1"], Choice(("auto", "5", "3.1.1"))] = option(
        'MQTT version; "auto" tries 5 and falls back to 3.1.1.', default="auto"
    )
    keepalive: Annotated[int, Duration(5 * SECOND, 18 * HOUR)] = option(
        "Longest silence on the connection before it counts as lost.", default=60 * SECOND
    )


class Store(Section):
    """Where readings and events are kept."""

    path: Annotated[Path, FileName()] = option(
        "SQLite file. Its folder is made when missing.",
        told="$SWIMUP_HOME/<site id>.sqlite3, else $XDG_STATE_HOME/swimup/…, else ~/.local/state/swimup/…",
        example="/var/lib/swimup/shed.sqlite3",
    )
    commit_every: Annotated[int, Duration(1 * SECOND, 10 * MINUTE)] = option(
        "Readings are written together at this interval, to spare the card. Events and alarms are written at once.",
        default=60 * SECOND,
    )
    raw_days: Annotated[int, Number(14, 3650, whole=True)] = option(
        "Days for which every single reading is kept. What is told by quarter-hours and days is kept for ever.",
        default=60,
    )
    minute_days: Annotated[int, Number(14, 3650, whole=True)] = option(
        "Days for which the course by the minute is kept.", default=90
    )

    def keep(self) -> Keep:
        return Keep(self.raw_days * DAY, self.minute_days * DAY)


class Web(Section):
    """The page."""

    host: Annotated[str, Host()] = option(
        'Address to listen on. To be reached by others it needs a password and TLS: "swimup password", "swimup cert".',
        default="127.0.0.1",
    )
    port: Annotated[int, Number(1, 65535, whole=True)] = option("Port to listen on.", default=8417)
    password_file: Annotated[Path | None, SECRET_FILE] = option(
        'File with the argon2 hash of the password; "swimup password" writes it.', default=None, example="page.password"
    )
    viewer_password_file: Annotated[Path | None, SECRET_FILE] = option(
        'The same for those who may look but not act; "swimup password --viewer" writes it. It needs password_file.',
        default=None,
        example="viewer.password",
    )
    cert_file: Annotated[Path | None, FileName()] = option(
        'TLS certificate; "swimup cert" makes one.', default=None, example="page.pem"
    )
    key_file: Annotated[Path | None, FileName()] = option(
        "Key of the TLS certificate.", default=None, example="page.key"
    )
    hostnames: Annotated[tuple[str, ...], ListOf(HOST_NAME)] = option(
        "Further names under which the page is reached; requests for other names are refused.",
        default=(),
        example=["shed.home.arpa"],
    )
    address: Annotated[str | None, PageAddress()] = option(
        "Where a phone finds the page. With it, every letter carries a link by which its alarm can be acknowledged or shelved "
        "without logging in. Its name is one of hostnames, or this machine.",
        default=None,
        told="none; letters carry no link",
        example="https://shed.home.arpa:8417",
    )
    proxies: Annotated[tuple[str, ...], ListOf(Address())] = option(
        "Addresses of reverse proxies in front of the page. Only their X-Forwarded-For and X-Forwarded-Proto are believed; "
        "anybody else's are not looked at.",
        default=(),
        example=["127.0.0.1"],
    )


class Heartbeat(Section):
    """A sign of life to an address outside, so that somebody notices when this house falls silent. At most one of url,
    url_file and url_env; without one there is none.
    """

    url: Annotated[SecretStr | None, WebUrl()] = option(
        "Address that is asked (GET) while the whole chain is healthy: broker, a fresh probe, store, channels. The other side "
        "should ring when it is not asked for three times as long as every. It often holds a token.",
        default=None,
        example="https://alive.home.arpa/shed",
    )
    url_file: Annotated[Path | None, SECRET_FILE] = option(
        "File whose first line is the address.", default=None, example="heartbeat.url"
    )
    url_env: Annotated[str | None, VARIABLE] = option(
        "Environment variable that holds the address.", default=None, example="SWIMUP_HEARTBEAT_URL"
    )
    every: Annotated[int, Duration(10 * SECOND, 1 * DAY)] = option("How often.", default=5 * MINUTE)


class Vessel(Section):
    """A vessel in which cysts hatch."""

    id: Annotated[str, Identifier()] = option("Short name, as written on the vessel.", example="ash")
    litres: Annotated[float, Quantity(Kind.VOLUME, 0.05, 1000.0)] = option("Water in it when filled.", example=1.5)
    # The two limits are common practice, no source. What is known: 25-28 C is preferred, colder is later and not fewer,
    # above about 33 C metabolism stops (New 2002, FAO Fisheries Technical Paper 428, annex 4, as restated elsewhere).
    cold_below: Annotated[float, Quantity(Kind.TEMPERATURE, 0.0, 40.0)] = option(
        "Water colder than this is an alarm. Common practice, no source.", default=18.0
    )
    hot_above: Annotated[float, Quantity(Kind.TEMPERATURE, 0.0, 45.0)] = option(
        "Water warmer than this is an alarm. Common practice, no source; development stops above about 33 C.",
        default=32.0,
    )
    # Common practice, no source: a litre or two does not lose 2 C in an hour unless a heater failed or a window opened.
    fall: Annotated[float, Quantity(Kind.DIFFERENCE, 0.2, 20.0)] = option(
        "A fall of the water by this much within fall_within is an alarm. Common practice, no source.", default=2.0
    )
    fall_within: Annotated[int, Duration(5 * MINUTE, 1 * DAY)] = option("See fall.", default=1 * HOUR)

    def spec(self) -> core.VesselSpec:
        return core.VesselSpec(self.id, self.litres, self.cold_below, self.hot_above, self.fall, self.fall_within)


class Lot(Section):
    """A tin of cysts. A tin that is not listed can be used all the same; it starts as an unknown one."""

    id: Annotated[str, Identifier()] = option("Short name, as written on the tin.", example="tin-7")
    strain: Annotated[str, LINE] = option(
        'Where the cysts come from, such as "san-francisco-bay" or "great-salt-lake".',
        default="",
        example="san-francisco-bay",
    )
    label_hatch_percent: Annotated[float | None, Number(1, 100)] = option(
        "Hatch percentage on the label; estimates start from it and learn from each batch.",
        default=None,
        told="not known",
        example=85,
    )
    grams: Annotated[float | None, Quantity(Kind.MASS, 0.1, 100_000.0)] = option(
        "Cysts that were in it when it was new. Bought more into it: add that. What was started is taken off.",
        default=None,
        told="not known: nobody is told when it is nearly empty",
        example="50 g",
    )
    low_below: Annotated[float | None, Quantity(Kind.MASS, 0.0, 100_000.0)] = option(
        "With less than this left it is nearly empty.",
        default=None,
        told="two usual batches of it (common practice, no source)",
        example="6 g",
    )
    cysts_per_g: Annotated[float | None, Number(20_000, 2_000_000)] = option(
        "Cysts in a gram, hatching or not: weigh a pinch, count it under a lens. Counted drops then tell what share hatched.",
        default=None,
        told="what its strain, or any cysts, usually have",
        example=270_000,
    )

    def spec(self) -> core.LotSpec:
        return core.LotSpec(
            self.id, self.strain, self.label_hatch_percent, self.grams, self.low_below, self.cysts_per_g
        )


class Channel(Section):
    """A way for alerts to reach a person. Exactly one of url, url_file and url_env, but none for kind = "mqtt" and "webpush"."""

    id: Annotated[str, Identifier()] = option(
        "Short name, used in logs.", told="scheme or kind, and number, such as mailto-1", example="phone"
    )
    kind: Annotated[ChannelKind, Choice(("apprise", "webhook", "mqtt", "webpush"))] = option(
        'How letters go: "apprise" to one of many messengers, "webhook" as signed JSON to a server of your own, "mqtt" as '
        'JSON to a topic at the broker, "webpush" to every phone that is subscribed on the page (needs [web] address).',
        default="apprise",
    )
    url: Annotated[SecretStr | None, ChannelUrl()] = option(
        'Address in the form of the apprise library; for kind = "webhook" one with https:// or http://. '
        "It often holds a token; a file or variable keeps it out of here.",
        default=None,
        example="mailto://…",
    )
    url_file: Annotated[Path | None, SECRET_FILE] = option(
        "File whose first line is the address.", default=None, example="channel.url"
    )
    url_env: Annotated[str | None, VARIABLE] = option(
        "Environment variable that holds the address.", default=None, example="SWIMUP_CHANNEL_URL"
    )
    secret_file: Annotated[Path | None, SECRET_FILE] = option(
        'For kind = "webhook": file whose first line is the secret that letters are signed with, 16 letters or more.',
        default=None,
        example="webhook.secret",
    )
    secret_env: Annotated[str | None, VARIABLE] = option(
        "Environment variable that holds that secret, instead of a file.",
        default=None,
        example="SWIMUP_WEBHOOK_SECRET",
    )
    ca_file: Annotated[Path | None, FileName()] = option(
        'For kind = "webhook": certificate of the authority that signed the server\'s, where that is your own. For kind = '
        '"webpush": that of a push service of your own, which may then be in your own network.',
        default=None,
        told="the system's authorities",
        example="webhook-ca.pem",
    )
    topic: Annotated[str | None, Topic()] = option(
        'For kind = "mqtt": where letters are published, at QoS 1 and not retained.',
        default=None,
        told="swimup/<site id>/push",
        example="swimup/shed/push",
    )
    after: Annotated[int, Duration(0, 1 * DAY)] = option(
        "A second channel: only urgent alarms go there, and only when nobody has acknowledged them for so long, or for a third "
        'of the minutes left, if that is less. "0 s": at once, the first channel.',
        default=0,
        example="5 min",
    )
    least: Annotated[Weight, Choice(("low", "medium", "high"))] = option(
        "Alarms of a lower priority do not go to this channel.", default="low"
    )

    def reach(self) -> Reach:
        return Reach(self.after, core.Priority(self.least))


class Alarms(Section):
    """How patient alarms are. The starting values are common practice, no source."""

    deadband: Annotated[float, Quantity(Kind.DIFFERENCE, 0.0, 5.0)] = option(
        "A temperature alarm ends only when the water is back within its limit by this much.", default=0.5
    )
    on_delay: Annotated[int, Duration(0, 2 * HOUR)] = option(
        "A temperature must be out of its limit this long before it is an alarm.", default=5 * MINUTE
    )
    off_delay: Annotated[int, Duration(0, 2 * HOUR)] = option(
        "It must be back this long before the alarm ends.", default=10 * MINUTE
    )
    air_on_delay: Annotated[int, Duration(0, 10 * MINUTE)] = option(
        "Air must have stopped this long before it is an alarm, or a tenth of the minutes left, if that is less.",
        default=60 * SECOND,
    )
    settling: Annotated[int, Duration(1 * MINUTE, 2 * HOUR)] = option(
        "How long air may be off on purpose after you say so; then the alarm comes back by itself.", default=15 * MINUTE
    )
    quiet: Annotated[bool, Flag()] = option(
        "In the quiet hours only urgent alarms are told; all else is told in one digest when they end.", default=True
    )
    quiet_from: Annotated[str, ClockTime()] = option("When the quiet hours begin, local time.", default="22:00")
    quiet_until: Annotated[str, ClockTime()] = option(
        "When they end, local time. Alarms of low priority are told then, once a day, also without quiet hours.",
        default="07:00",
    )
    night: Annotated[Literal["high", "medium"], Choice(("high", "medium"))] = option(
        'The least priority that is told in the quiet hours. "medium" also wakes you for what can only be mended at night, such '
        "as a cold snap that lets the hatch miss the morning's feed.",
        default="high",
    )

    disk_free_percent: Annotated[float, Number(0, 50)] = option(
        "Less free than this share of the disk that holds the store is an alarm, unless it is more than 2 GB.",
        default=5.0,
    )
    disk_free_mb: Annotated[float, Number(10, 1_000_000)] = option(
        "Less free than so many MB is an alarm, however small a share that is.", default=200.0
    )
    delivery_on_delay: Annotated[int, Duration(0, 1 * DAY)] = option(
        "A channel must have refused letters, or not answered, this long before the other channels tell so.",
        default=10 * MINUTE,
    )
    test: Annotated[bool, Flag()] = option(
        "Once a week a test is sent through every channel. It asks to be acknowledged; nobody does, and it is told again "
        "after a day.",
        default=True,
    )
    test_day: Annotated[WeekDay, Choice(WEEKDAYS)] = option("The day of that test.", default="sunday")
    test_at: Annotated[str, ClockTime()] = option("Its hour, local time.", default="18:00")

    def spec(self) -> core.AlarmSettings:
        return core.AlarmSettings(
            self.deadband,
            self.on_delay,
            self.off_delay,
            self.air_on_delay,
            self.settling,
            disk_share=self.disk_free_percent / 100,
            disk_bytes=round(self.disk_free_mb * 1_000_000),
            delivery_on_delay=self.delivery_on_delay,
            test_day=WEEKDAYS.index(self.test_day) if self.test else None,
            test_at=minutes_of(self.test_at),
        )

    def manners(self, timezone: str) -> Manners:
        return Manners(
            timezone,
            self.quiet,
            minutes_of(self.quiet_from),
            minutes_of(self.quiet_until),
            core.Priority(self.night),
        )


def minutes_of(clock: str) -> int:
    """Minutes after midnight of an ``HH:MM``."""
    hours, _, minutes = clock.partition(":")
    return int(hours) * 60 + int(minutes)
