"""From the configuration to a running service: the supervisor and the page, started and ended together."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.loglines import log
from monitor.notify.phonebook import PhoneBook
from monitor.service.backing import Plan
from monitor.service.channels import Linked, make_channels, push_key
from monitor.service.heartbeat import Heartbeat
from monitor.service.memory import begin, settle
from monitor.service.supervisor import Supervisor
from monitor.service.wiring import Wiring
from monitor.settings.broker import broker_link
from monitor.settings.credentials import heartbeat_url, series_tokens, viewer_password_hash, web_password_hash
from monitor.settings.models import minutes_of
from monitor.settings.spare import spare_copy
from monitor.store.backups import BackupFolder
from monitor.web.access import Gate
from monitor.web.options import WebOptions
from monitor.web.server import WebServer

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from monitor.forward.posting import Server
    from monitor.forward.sender import Pace
    from monitor.notify import Channel
    from monitor.service.clock import Clock
    from monitor.settings.settings import Settings
    from monitor.store import Letter
    from monitor.store.ahead import Ahead


class Simulated:
    """A channel whose letters say that time was simulated, so that nobody runs for a demo."""

    def __init__(self, inner: Channel) -> None:
        self._inner = inner

    @property
    def id(self) -> str:
        return self._inner.id

    def send(self, letter: Letter) -> None:
        self._inner.send(replace(letter, title=f"(simulated) {letter.title}"))


def make_heartbeat(settings: Settings, clock: Clock) -> Heartbeat:
    """Raises ConfigError when its address can't be read."""
    url = heartbeat_url(settings)
    return Heartbeat(None if url is None else url.get_secret_value(), settings.heartbeat.every, clock)


def series_servers(settings: Settings) -> list[tuple[Server, Pace]]:
    """In the order of the configuration. Raises ConfigError when a token can't be read."""
    if not settings.series_servers:
        return []
    from monitor.forward.posting import Server  # noqa: PLC0415  (few have one, and a start need not wait for it)
    from monitor.forward.sender import Pace  # noqa: PLC0415

    tokens = dict(series_tokens(settings))
    made = []
    for one in settings.series_servers:
        token = tokens.get(one.id)
        told = None if token is None else token.get_secret_value()
        server = Server(one.id, one.url, one.org, one.bucket, told, one.ca_file, one.gzip)
        made.append((server, Pace(every_s=one.every / 1000, lines=one.batch)))
    return made


def backup_plan(settings: Settings) -> Plan:
    """Where, when and how many."""
    return Plan(
        folder=BackupFolder.of(settings.store.path, settings.backup.folder),
        at=minutes_of(settings.backup.at),
        stay=settings.backup.stay(),
        timezone=settings.site.timezone,
        config=lambda: spare_copy(settings),
    )


class Daemon:
    """Raises ConfigError or WebProblem for what can't be served."""

    def __init__(self, settings: Settings, clock: Clock, ahead: Ahead | None = None) -> None:
        web_password_hash(settings)
        viewer_password_hash(settings)
        self._options = WebOptions.from_settings(settings)
        link = broker_link(settings)
        book, key = PhoneBook(), push_key(settings)
        channels = make_channels(settings, link, book, key)
        if self._options.address:
            from monitor.web.links import Links  # noqa: PLC0415  (only who has a page that is reached signs anything)

            links = Links.kept(self._options.link_key_file, self._options.address)
            channels = [Linked(channel, links) for channel in channels]
        if clock.speed is not None:
            channels = [Simulated(channel) for channel in channels]
        self._supervisor = Supervisor(
            Wiring(
                site=settings.site_spec(),
                bindings=settings.bindings(),
                link=link,
                channels=channels,
                store_path=str(settings.store.path),
                commit_every=settings.store.commit_every,
                clock=clock,
                heartbeat=make_heartbeat(settings, clock),
                web_alive=lambda: self._web.alive,
                manners=settings.manners(),
                reaches=settings.reaches(),
                book=book,
                keep=settings.store.keep(),
                series_servers=series_servers(settings),
                backups=backup_plan(settings),
                page=self._options.address,
                planning=settings.food.planning(),
                ahead=ahead,
                other_rooms=settings.rooms.sites if settings.rooms.show else None,
            )
        )
        self._push_key = key if any(channel.kind == "webpush" for channel in settings.channels) else None
        self._gate = Gate(self._options)
        self._web = WebServer(
            self._make_app, self._options.host, self._options.port, self._options.cert_file, self._options.key_file
        )

    def stop(self) -> None:
        """Ask it to end; safe in a signal handler."""
        self._supervisor.stop()

    def run(self) -> None:
        """Serve until stopped. Raises StoreError, WebProblem or OSError when it can't begin."""
        try:
            self._supervisor.run(self._ready, self._web.begin)
        finally:
            self._web.stop()

    def _make_app(self) -> Starlette:
        """In the thread of the page: its modules are a third of all, and neither readings nor alarms wait for them."""
        begin()
        try:
            from monitor.web.app import make_app  # noqa: PLC0415

            app = make_app(self._supervisor.desk, self._options, self._push_key, self._gate)
            app.state.compile_bench()
            return app
        finally:
            settle()

    def _ready(self) -> None:
        self._web.bind()
        log.info("service.ready", page=self._web.url)
