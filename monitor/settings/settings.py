"""The whole configuration, checked, and what the other parts are given of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from monitor.core import model as core
from monitor.settings.backup import Backup
from monitor.settings.fish import fish_specs, strain_specs
from monitor.settings.food import Food
from monitor.settings.models import Alarms, Broker, Channel, Heartbeat, Lot, Site, Store, Vessel, Web, minutes_of
from monitor.settings.probes import Probe
from monitor.settings.rooms import Rooms
from monitor.settings.series import SeriesServer
from monitor.settings.stores import ColdStore, store_of

if TYPE_CHECKING:
    from monitor.core.dispatch import Manners, Reach
    from monitor.intake.binding import Binding
    from monitor.settings.base import Section

TABLES: dict[str, type[Section]] = {
    "site": Site,
    "broker": Broker,
    "store": Store,
    "backup": Backup,
    "web": Web,
    "alarms": Alarms,
    "heartbeat": Heartbeat,
    "rooms": Rooms,
    "food": Food,
}
"""Tables written once, [like] so."""
LISTS: dict[str, type[Section]] = {
    "vessel": Vessel,
    "probe": Probe,
    "lot": Lot,
    "cold_store": ColdStore,
    "channel": Channel,
    "series_server": SeriesServer,
}
"""Tables written any number of times, [[like]] so; the attribute of Settings is the plural."""


class Settings(NamedTuple):
    """Everything a keeper configured, defaults filled in. Made by ``load`` only, which is where the checks are."""

    site: Site
    broker: Broker
    store: Store
    backup: Backup
    web: Web
    alarms: Alarms
    heartbeat: Heartbeat
    rooms: Rooms
    food: Food
    vessels: tuple[Vessel, ...]
    probes: tuple[Probe, ...] = ()
    lots: tuple[Lot, ...] = ()
    cold_stores: tuple[ColdStore, ...] = ()
    channels: tuple[Channel, ...] = ()
    series_servers: tuple[SeriesServer, ...] = ()
    file: str = ""  # where it came from, for messages

    def site_spec(self) -> core.SiteSpec:
        """What the core is told of the site."""
        return core.SiteSpec(
            id=self.site.id,
            timezone=self.site.timezone,
            feeding_times=tuple(sorted(minutes_of(clock) for clock in self.site.feeding_times)),
            probes={probe.id: replace(probe.spec(), store=store_of(probe, self.cold_stores)) for probe in self.probes},
            vessels={vessel.id: vessel.spec() for vessel in self.vessels},
            lots={lot.id: lot.spec() for lot in self.lots},
            cold_stores={store.id: store.spec() for store in self.cold_stores},
            alarms=self.alarms.spec(),
            manners=self.manners(),
            strains=strain_specs(),
            fish=fish_specs(),
            costs=self.food.costs(),
            food_chance=self.food.chance,
            food_most_g_l=self.food.most_g_per_litre,
        )

    def manners(self) -> Manners:
        """How the outbox is told to behave."""
        return self.alarms.manners(self.site.timezone)

    def reaches(self) -> dict[str, Reach]:
        """What each channel is for."""
        return {channel.id: channel.reach() for channel in self.channels}

    def bindings(self) -> tuple[Binding, ...]:
        """What the intake is told: one binding a probe, in the order of the file."""
        return tuple(probe.binding() for probe in self.probes)
