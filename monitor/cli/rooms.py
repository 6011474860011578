"""``swimup rooms``: what needs somebody in which room."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.web.rooms_view import RoomsView, RoomView, make_rooms

if TYPE_CHECKING:
    from pathlib import Path


@click.command()
@config_option
@json_option
def rooms(config: Path | None, as_program: bool) -> None:
    """Tell how this room stands and the others that are heard, the one that needs somebody first."""
    with Client(config) as client:
        document = client.get("/rooms")
    if as_program:
        tell(document, "", as_program=True)
    else:
        click.echo(plain("\n".join(described(make_rooms(document)))))


def described(view: RoomsView) -> list[str]:
    lines = [f"{view.clock}: {view.headline}.", *view.notices]
    for room in view.rooms:
        lines += ["", *_room(room)]
    if not view.shown:
        lines += ["", "Only this room is shown: for others write show = true under [rooms], and see deploy/rooms.md."]
    return lines


def _room(room: RoomView) -> list[str]:
    lines = [f"{'! ' if room.troubled else ''}{room.site}: {room.head}"]
    lines += [f"  {text}" for text in (room.text, room.badge, room.as_of and f"{room.as_of}:") if text]
    lines += [f"  {line.name}: {line.main}; {line.more}" for line in room.lines]
    lines += [f"  {room.rest}."] if room.rest else []
    last = "; ".join(text for text in (room.heard, "" if room.own else room.page) if text)
    return [*lines, f"  {last}"] if last else lines
