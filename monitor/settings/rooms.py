"""Other rooms, each with a monitor of its own."""

from typing import TYPE_CHECKING, Annotated

from monitor.core.rooms import MOST_ROOMS
from monitor.settings.base import Section, option
from monitor.settings.errors import quoted
from monitor.settings.forms import Flag, ListOf
from monitor.settings.names import Identifier

if TYPE_CHECKING:
    from monitor.settings.draft import Draft


class Rooms(Section):
    """A page that shows several rooms, from what the monitor of each keeps at the broker: see deploy/rooms.md. It only reads."""

    show: Annotated[bool, Flag()] = option(
        "Listen at our own broker to what other rooms tell, and show it on the page Rooms.", default=False
    )
    sites: Annotated[tuple[str, ...], ListOf(Identifier())] = option(
        "The site ids of the other rooms. Each is then shown even if nothing was ever heard of it, and no others are.",
        default=(),
        told=f"every room that is heard of, at most {MOST_ROOMS}",
        example=["attic", "cellar"],
    )


def check_rooms(draft: "Draft") -> None:
    """Our own room is shown anyway; more rooms than can be shown would be left out without a word."""
    part = draft.rooms
    if not part.sound("sites"):
        return
    sites = part.value.sites
    if draft.site.sound("id") and draft.site.value.id in sites:
        draft.wrong_in(part, "sites", f"{quoted(draft.site.value.id)}, which is this site", "other rooms only")
    if len(sites) > MOST_ROOMS:
        draft.wrong_in(part, "sites", f"{len(sites)} rooms", f"at most {MOST_ROOMS}")
