"""Counted drops: how many swim in the vessel, what a gram of cysts gave, and what share of the cysts hatched. Pure.

Some drops of known size are taken from stirred water, and what swims in each is counted under a lens. If the water is well
mixed the total is a Poisson number, and its exact limits are those of the vessel. If it is not, the drops differ more than
chance does (index of dispersion; Fisher, Thornton & Mackenzie 1922, Ann. appl. Biol. 9:325, from memory), and the range is
made wider by as much. What the range cannot know: a drop that is bigger than you think, a dilution that was not what you meant.
"""

from __future__ import annotations

from functools import cache
from math import ceil, exp, hypot, log, sqrt
from typing import Final, Literal

from monitor.core.light import light
from monitor.core.model import Refused
from monitor.core.poisson import chi_square_beyond, limits

MOST_DROPS: Final = 60
MOST_IN_A_DROP: Final = 2000  # nobody counts so many without losing the thread; common practice, no source
LARGEST_DROP_ML: Final = 100.0
STRONGEST_DILUTION: Final = 10_000.0
LARGEST: Final = 1000.0  # litres or grams, as in all entries
SMALLEST: Final = 0.001  # mL of a drop, litres or grams: what nobody can measure off; common practice, no source
CYSTS_PER_G: Final = (20_000.0, 2_000_000.0)

USUAL_DROP_ML: Final = 0.05  # of a common dropper; weigh 20 drops: 1 g. Common practice, no source
CLOSE: Final = 0.2
"""A count within 20 % is good enough to feed by; common practice, no source."""

UNEVEN: Final = (
    0.05  # drops that differ so much by chance alone are called uneven; the usual threshold, common practice
)
WIDENS: Final = 0.2  # ... and from here the range is wider already: few drops cannot prove that they were badly mixed
Z: Final = 1.2815515655446004  # the central 80 % of a normal distribution ends here

MANY: Final = 100
"""So many must be counted before their share is logged, which is weighed like a count of some hundred (``evidence.COUNTED``)."""

Basis = Literal["given", "tin", "strain", "general"]


class Uncountable(Refused):
    """What cannot be reckoned with: ``field`` names it as the API does, the message is for the keeper."""

    def __init__(self, field: str, told: str) -> None:
        super().__init__(told)
        self.field = field


@light
class Amount:
    """A central 80 % range with its middle. Of nothing counted ``lo`` and ``mid`` are 0 and ``hi`` is the most it may be."""

    lo: float
    mid: float
    hi: float

    def times(self, factor: float) -> Amount:
        return Amount(self.lo * factor, self.mid * factor, self.hi * factor)


@light
class Cysts:
    """How many cysts are in a gram, hatching or not: the middle, and how uncertain it is (SD of its logarithm)."""

    per_g: float
    log_sd: float
    basis: Basis
    source: str

    @property
    def known(self) -> bool:
        """Somebody counted the cysts of this very tin."""
        return self.basis in ("given", "tin")

    @property
    def amount(self) -> Amount:
        return Amount(self.per_g * exp(-Z * self.log_sd), self.per_g, self.per_g * exp(Z * self.log_sd))


# A dried cyst weighs 3.64 ug (A. salina; abstract on their sorption isotherms, authors not seen): 275 000 in a gram, a little
# fewer as they come, with some water. Good cysts give 200 000-300 000 nauplii per gram (Treece 2000, SRAC 702).
GENERAL: Final = Cysts(270_000.0, 0.2, "general", "a dried cyst weighs about 3.6 µg")
STRAIN_LOG_SD: Final = 0.2
"""Eight tins of ten lie within a factor of 1.3 of the figure of their strain; an assumption."""


@light
class Drops:
    """What was counted. ``each`` is empty where only the total is known."""

    total: int
    number: int
    each: tuple[int, ...] = ()

    @staticmethod
    def of(each: tuple[int, ...]) -> Drops:
        return Drops(sum(each), len(each), each)


@light
class Sample:
    """Drops of ``drop_ml`` mL, out of water that was thinned ``dilution`` times (1 is not at all) after it left the vessel."""

    drops: Drops
    drop_ml: float
    dilution: float = 1.0
    litres: float | None = None  # in the vessel
    cysts_g: float | None = None
    cysts: Cysts = GENERAL

    @property
    def vessel_ml(self) -> float:
        """Water of the vessel that was looked through, mL."""
        return self.drops.number * self.drop_ml / self.dilution


@light
class Scatter:
    """How drops differ: ``index`` is their variance over their mean, 1 when well mixed; ``chance`` that it is chance alone."""

    index: float
    chance: float

    @property
    def uneven(self) -> bool:
        return self.chance < UNEVEN


@light
class Count:
    """``hatched`` is a share of all cysts and may be above 1: then something was not as it was told.

    ``more_drops`` like these would bring the range to within 20 %; 0 when it is, ``None`` when nothing was counted.
    """

    sample: Sample
    per_ml: Amount
    in_all: Amount | None
    per_g: Amount | None
    hatched: Amount | None
    scatter: Scatter | None
    more_drops: int | None


def reckon(sample: Sample) -> Count:
    """What a sample tells. Raises Uncountable for what cannot be."""
    _check(sample)
    drops = sample.drops
    scatter = _scatter(drops)
    total = _widened(drops.total, _widening(scatter, drops.number))
    per_ml = total.times(1 / sample.vessel_ml)
    in_all = None if sample.litres is None else per_ml.times(1000 * sample.litres)
    per_g = None if in_all is None or sample.cysts_g is None else in_all.times(1 / sample.cysts_g)
    hatched = None if per_g is None else _share(per_g, sample.cysts)
    return Count(sample, per_ml, in_all, per_g, hatched, scatter, _more_drops(drops, scatter))


def share_to_log(count: Count) -> float | None:
    """The share of all cysts to log with a harvest; ``None`` when the count knows less than the log would say for it.

    A logged share teaches the tin. So it must not rest on a usual figure of cysts in a gram, which would teach the tin that
    figure's error, nor on few or badly mixed drops, nor be one that can't be. How many swim can be logged all the same.
    """
    known = count.sample.cysts.known and count.sample.drops.total >= MANY
    if count.hatched is None or not known or (count.scatter is not None and count.scatter.uneven):
        return None
    return count.hatched.mid if count.hatched.mid <= 1 else None


def _scatter(drops: Drops) -> Scatter | None:
    if len(drops.each) < 2 or not drops.total:
        return None
    mean = drops.total / len(drops.each)
    squares = sum((count - mean) ** 2 for count in drops.each) / mean
    degrees = len(drops.each) - 1
    return Scatter(squares / degrees, chi_square_beyond(squares, degrees))


def _widening(scatter: Scatter | None, number: int) -> float:
    """Factor on the range's logarithms: the root of the index, and more for few drops, which tell little of it (Student).

    Over drops from badly mixed water (variance two to four times the mean, 2 to 10 drops) the range then holds the truth in
    74 to 83 of 100, instead of 50 to 70; from well mixed water in 83 to 88 (by simulation).
    """
    if scatter is None or scatter.chance >= WIDENS or scatter.index <= 1:
        return 1.0
    return sqrt(scatter.index) * _student(number - 1) / Z


def _student(degrees: int) -> float:
    """Where the central 80 % of Student's t end: Abramowitz & Stegun 26.7.5 (from memory), within 5 % for 1 and 1 % above."""
    n = degrees
    return (
        Z
        + (Z**3 + Z) / (4 * n)
        + (5 * Z**5 + 16 * Z**3 + 3 * Z) / (96 * n**2)
        + (3 * Z**7 + 19 * Z**5 + 17 * Z**3 - 15 * Z) / (384 * n**3)
    )


def _widened(total: int, widening: float) -> Amount:
    low, high = limits(total)
    if not total:
        return Amount(0.0, 0.0, high)
    return Amount(total * (low / total) ** widening, float(total), total * (high / total) ** widening)


def _share(per_g: Amount, cysts: Cysts) -> Amount:
    """The share that hatched: the luck of the count and what is not known of the cysts, as if each were a factor by chance."""
    most = cysts.amount
    if not per_g.mid:
        return Amount(0.0, 0.0, per_g.hi / most.lo)
    unknown = Z * cysts.log_sd
    mid = per_g.mid / cysts.per_g
    down, up = hypot(log(per_g.mid / per_g.lo), unknown), hypot(log(per_g.hi / per_g.mid), unknown)
    return Amount(mid * exp(-down), mid, mid * exp(up))


def _more_drops(drops: Drops, scatter: Scatter | None) -> int | None:
    if not drops.total:
        return None
    index = scatter.index if scatter is not None and scatter.chance < WIDENS else 1.0
    wanted = enough(max(index, 1.0))
    return max(ceil(wanted * drops.number / drops.total) - drops.number, 0)


@cache
def _enough_mixed() -> int:
    low, high = 1, 1000
    while low < high:
        middle = (low + high) // 2
        down, up = limits(middle)
        if up / middle <= 1 + CLOSE and down / middle >= 1 - CLOSE:
            high = middle
        else:
            low = middle + 1
    return low


def enough(index: float = 1.0) -> float:
    """How many must be counted in all for a range within 20 %, when drops differ by this index of dispersion."""
    return _enough_mixed() * index


# -- what cannot be


def _check(sample: Sample) -> None:
    drops = sample.drops
    _check_drops(drops)
    _within("drop_ml", sample.drop_ml, SMALLEST, LARGEST_DROP_ML, "A drop of {} mL can't be; allowed is {} to {} mL.")
    if not 1 <= sample.dilution <= STRONGEST_DILUTION:
        raise Uncountable(
            "dilution",
            f"Diluted {sample.dilution:g} times can't be; 1 is not at all, 10 mL filled up to 100 mL is 10, "
            f"and {STRONGEST_DILUTION:g} is the most.",
        )
    _within("litres", sample.litres, SMALLEST, LARGEST, "{} L of water can't be; allowed is {} to {} L.")
    _within("cysts_g", sample.cysts_g, SMALLEST, LARGEST, "{} g of cysts can't be; allowed is {} to {} g.")
    low, high = CYSTS_PER_G
    if not low <= sample.cysts.per_g <= high:
        raise Uncountable(
            "cysts_per_g",
            f"{sample.cysts.per_g:.0f} cysts in a gram can't be; usual are 200000 to 350000, allowed {low:.0f} to {high:.0f}.",
        )
    if sample.litres is not None and sample.vessel_ml > 1000 * sample.litres:
        raise Uncountable(
            "drop_ml",
            f"{drops.number} drops of {sample.drop_ml:g} mL are more water than the {sample.litres:g} L they came from. "
            "Look at the drop's size, the dilution and the litres.",
        )


def _check_drops(drops: Drops) -> None:
    if not 1 <= drops.number <= MOST_DROPS:
        raise Uncountable("drops", f"{drops.number} drops can't be; count 1 to {MOST_DROPS}.")
    if min(drops.each, default=drops.total) < 0:
        raise Uncountable("drops", "Less than none can't be counted; a drop with nothing in it is 0.")
    if drops.each and (len(drops.each), sum(drops.each)) != (drops.number, drops.total):
        raise Uncountable("drops", "The drops and their total don't agree; give the one or the other.")
    if max(drops.each, default=drops.total / drops.number) > MOST_IN_A_DROP:
        raise Uncountable(
            "drops",
            f"More than {MOST_IN_A_DROP} in a drop nobody counts right: dilute the sample, or take smaller drops.",
        )


def _within(field: str, value: float | None, low: float, high: float, told: str) -> None:
    if value is not None and not low <= value <= high:
        raise Uncountable(field, told.format(f"{value:g}", f"{low:g}", f"{high:g}"))
