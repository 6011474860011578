"""``swimup status``: the bench in a few lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.view import BenchView, make_view

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.web.bench_measured import Measured
    from monitor.web.bench_vessel import VesselView
    from monitor.web.store_view import StoreView


@click.command()
@config_option
@json_option
def status(config: Path | None, as_program: bool) -> None:
    """Tell how the bench stands."""
    with Client(config) as client:
        bench = client.get("/bench")
    if as_program:
        tell(bench, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(make_view(bench)))))


def described(view: BenchView) -> list[str]:
    lines = [f"{view.site}, {view.clock}: {view.headline}.{f' {view.next_up}.' if view.next_up else ''}"]
    lines += [text for text in (view.simulated, view.broker, view.clock_unset) if text]
    for alarm in view.alarms:
        lines.append(f"! {alarm.title}, since {alarm.since}{f' ({alarm.state})' if alarm.state else ''}")
        lines.append(f"  {alarm.todo}")
    lines += [f"- {need.title}. {need.text}" for need in view.needs]
    for vessel in view.vessels:
        lines += ["", *_vessel(vessel)]
    for store in view.stores:
        lines += ["", *_store(store)]
    lines += [f"room: {_measured(item)} ({item.probe})" for item in view.room]
    return lines


def _vessel(vessel: VesselView) -> list[str]:
    batch = vessel.batch
    settling = f", settling until {vessel.settling}" if vessel.settling else ""
    lines = [
        f"{vessel.id}: {batch.stage_word if batch else 'empty'}",
        f"  water {_measured(vessel.water)}, air {_measured(vessel.air)}{settling}",
    ]
    if vessel.working:
        lines.append(f"  being worked on until {vessel.working}. {words.WAITS} {words.STILL_RINGS}")
    if batch is None:
        return lines
    lines += [
        f"  {batch.id}: {batch.about}",
        f"  hatched {batch.hatched}{f' ({batch.hatched_range})' if batch.hatched_range != batch.hatched else ''}",
        f"  {batch.lead} {batch.main} ({batch.spread})" if batch.spread else f"  {batch.lead} {batch.main}",
    ]
    return lines + [f"  {text}" for text in (batch.feeding, batch.caution, batch.note) if text]


def _store(store: StoreView) -> list[str]:
    content = store.content
    air = f", air {_measured(store.air)}" if store.air else ""
    lines = [f"{store.id}: {'chilled' if content else 'empty'}", f"  {_measured(store.temperature)}{air}"]
    if content is None:
        return lines
    return [
        *lines,
        f"  {content.about}, since {content.since}",
        f"  {content.lead} {content.main}. {content.spread}. {content.why} {content.caution}".rstrip(),
    ]


def _measured(item: Measured) -> str:
    more = [text for text in (f"{item.age} old" if item.age else "", item.doubt) if text]
    return f"{item.text} ({', '.join(more)})" if more else item.text
