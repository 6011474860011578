"""What the plan of food rests on beside the room: how sure every meal is to be, when the keeper is there, what things cost."""

from typing import TYPE_CHECKING, Annotated

from monitor.core.food import Costs
from monitor.core.light import light
from monitor.core.model import DAY, MINUTE, SECOND
from monitor.settings.base import Section, option
from monitor.settings.forms import Duration, Flag, Number, Quantity, Text
from monitor.settings.names import ClockTime
from monitor.settings.units import Kind

if TYPE_CHECKING:
    from monitor.settings.draft import Draft


@light
class Planning:
    """How often is planned, and what that may take: seconds by the clock, and MB."""

    on: bool
    every: int  # ms
    soon_s: float  # after an entry
    seconds: float
    memory_mb: int


class Food(Section):
    """Nothing is planned until a brood or another eater is told. Costs are in your own money; what costs nothing stays at 0."""

    plan: Annotated[bool, Flag()] = option(
        "Look ahead and plan what to start when, so that no meal is short.", default=True
    )
    chance: Annotated[float, Number(0.5, 0.999)] = option(
        "How sure every meal is to be full. More takes more batches in reserve.", default=0.98
    )
    there_from: Annotated[str, ClockTime()] = option(
        "From when on you are there to start and to harvest, local time.", default="07:00"
    )
    there_until: Annotated[str, ClockTime()] = option("Until when.", default="22:00")
    every: Annotated[int, Duration(5 * MINUTE, DAY)] = option("How often it is planned anew.", default=60 * MINUTE)
    soon: Annotated[int, Duration(SECOND, 10 * MINUTE)] = option(
        "How long after an entry it is planned anew, so that several are planned for together.", default=20 * SECOND
    )
    most_g_per_litre: Annotated[float | None, Quantity(Kind.SALINITY, 0.1, 20.0)] = option(
        "Cysts that a vessel can take, in g/L.", default=None, told="5 g/L below 20 L, 2 g/L in larger ones", example=4
    )
    seconds: Annotated[float, Number(5, 90)] = option(
        "How long planning may take. It is a process of its own, and gives way to all other work.", default=60
    )
    memory_mb: Annotated[int, Number(256, 8192, whole=True)] = option("Memory that it may take, MB.", default=1024)
    currency: Annotated[str, Text("a word such as EUR", longest=12)] = option("In what prices are told.", default="")
    cysts_per_g: Annotated[float, Number(0, 1000)] = option(
        "A gram of cysts, for tins whose own price was not told.", default=0.5
    )
    salt_per_kg: Annotated[float, Number(0, 1000)] = option("A kilogram of salt.", default=0)
    kwh: Annotated[float, Number(0, 100)] = option("A kilowatt hour.", default=0)
    vessel_w: Annotated[float, Number(0, 5000)] = option("What air and heat of one vessel draw, W.", default=0)
    oxygen_per_l: Annotated[float, Number(0, 1000)] = option("A litre of oxygen.", default=0)
    visit: Annotated[float, Number(0, 1000)] = option(
        "What it is worth to you not to get up: a start or harvest at an hour at which you are not there.", default=0
    )

    def costs(self) -> Costs:
        from monitor.settings.models import minutes_of  # noqa: PLC0415  (that module is made of this one's neighbours)

        return Costs(
            currency=self.currency,
            cysts_per_g=self.cysts_per_g,
            salt_per_kg=self.salt_per_kg,
            kwh=self.kwh,
            vessel_w=self.vessel_w,
            oxygen_per_l=self.oxygen_per_l,
            visit=self.visit,
            there_from=minutes_of(self.there_from),
            there_until=minutes_of(self.there_until),
        )

    def planning(self) -> Planning:
        return Planning(self.plan, self.every, self.soon / 1000, self.seconds, self.memory_mb)


def check_food(draft: "Draft") -> None:
    """Who is never there can start nothing."""
    part = draft.food
    if part.sound("there_from", "there_until") and part.value.there_from == part.value.there_until:
        draft.wrong_in(part, "there_until", f'"{part.value.there_until}"', "another hour than there_from")
