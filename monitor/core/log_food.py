"""What a keeper writes down about food: tins as bought, weighed and opened, what was fed or taken out, broods and eaters.

Times are integer UTC milliseconds; numbers of nauplii are numbers, grams are grams, prices are in the site's currency.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import Ms

Storage = Literal["room", "cool", "frozen"]
"""Where a tin is kept."""

Ending = Literal["weaned", "lost", "moved"]
"""What became of a brood: it eats other food, it died, it went to somebody else."""


@light
class Tin:
    """A tin of cysts as it was bought. Told again of the same tin it takes the place of what was told before.

    ``None`` and empty text: not known, or as the configuration has it.
    """

    time: Ms  # when it was bought
    logged: Ms
    lot: str
    strain: str = ""
    label_hatch_percent: float | None = None
    grams: float | None = None  # what was in it
    price: float | None = None  # of all of it
    cysts_per_g: float | None = None
    length_um: float | None = None  # of a newly hatched nauplius, as the keeper measured it
    opened: Ms | None = None
    kept: Storage = "room"


@light
class Weighed:
    """So much is left in a tin at ``time``, whatever the record says."""

    time: Ms
    logged: Ms
    lot: str
    grams: float


@light
class Fed:
    """Nauplii were fed: out of a cold store, or of a harvest that is in none. ``brood`` empty: nobody in particular."""

    time: Ms
    logged: Ms
    brood: str
    nauplii: float
    store: str = ""  # the cold store they were drawn from
    batch: str = ""  # the batch they were harvested from, where no store is named


@light
class Drawn:
    """Nauplii were taken out of a cold store and not fed: thrown away, given away, counted."""

    time: Ms
    logged: Ms
    store: str
    nauplii: float
    why: str = ""


@light
class Brood:
    """Larvae of one spawning. Told again of the same brood it takes the place of what was told before.

    ``time`` is when they were spawned. ``None``: as the table of fish has it.
    """

    time: Ms
    logged: Ms
    brood: str
    fish: str  # id in the table of fish, or the keeper's own word for one that is not in it
    larvae: float  # how many there are, or will be at swim-up
    tank: str = ""  # of whose temperature a probe tells; empty when none does
    swam_up: Ms | None = None  # seen to swim up
    ration: float | None = None  # nauplii per larva and day when they begin to eat them
    growth_per_day: float | None = None  # of the ration, 0.19 is 19 % a day
    meals: int | None = None  # a day
    largest_um: float | None = None  # longest nauplius they take at first
    swim_up_days: float | None = None  # from spawning, at the temperature that is told
    wean_days: float | None = None  # after swim-up


@light
class Counted:
    """So many larvae of a brood are left."""

    time: Ms
    logged: Ms
    brood: str
    larvae: float


@light
class BroodEnded:
    """A brood needs no nauplii any more."""

    time: Ms
    logged: Ms
    brood: str
    how: Ending = "weaned"


@light
class Eater:
    """Others that get nauplii every day, such as adults: so many a day over all meals; 0 ends it. Told again: as told last."""

    time: Ms
    logged: Ms
    eater: str
    nauplii_per_day: float
    meals: int | None = None  # a day; None: at each feeding time
    largest_um: float | None = None  # None: they take any


@light
class Correct:
    """An entry of ``kind`` about ``subject`` that was logged at ``at`` was wrong: these values of it are to be others.

    ``gone``: it is as if it had never been made. Only what food and amounts rest on can be corrected so.
    """

    time: Ms
    logged: Ms
    kind: str  # as ``kind_of`` says it
    subject: str
    at: Ms
    values: dict[str, Any] = field(default_factory=dict, hash=False)  # names and values as the entry has them
    gone: bool = False


TinEntry = Tin | Weighed
DrawEntry = Fed | Drawn
BroodEntry = Brood | Counted | BroodEnded | Eater
FoodEntry = TinEntry | DrawEntry | BroodEntry
FOOD_ENTRIES: Final = (Tin, Weighed, Fed, Drawn, Brood, Counted, BroodEnded, Eater)
