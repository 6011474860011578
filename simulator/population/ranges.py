"""What the population of tins, rooms and keepers is drawn from: every range, with its reason or source.

These ranges stand by themselves: nothing here was fitted to a forecast, and no forecast may be fitted to the draws they
make. "Assumption" marks what no source was found for, "common practice" what the trade does without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator.population.priors import Among, LogitNormal, LogNormal, Normal, Uniform

# ---------------------------------------------------------------------------------------------------------- the tin

MEDIAN_H = LogNormal(
    20.0,
    0.25,
    11.0,
    36.0,
    "hours at 25 C until half have hatched: two tins of three within 16-26 h, lot to lot about 0.25 on the log scale; shells"
    " break after 12-20 h (FAO T428 annex 4, secondary), some lots are done at 18-24 h, others need 48 h",
)
BATCH_LOG_SD = Uniform(0.08, 0.10, "batch to batch within one tin; assumption, less than a third of lot to lot")
LAW = Among(
    ("sharpe-schoolfield", "briere"),
    (0.5, 0.5),
    "Schoolfield, Sharpe & Magnuson 1981 (J. theor. Biol. 88:719-731); Briere et al. 1999 (Environ. Entomol. 28:22-29)",
)
# Both laws below have an apparent base temperature (straight line through 15-28 C) of about 9-12.3 C: A. sinica 9.07 C
# (abstract), one SFB lot 11.5-12.3 C (from 20 and 24 C, secondary). Best at 30-33 C, next to nothing beyond 36-40 C:
# metabolism stops above about 33 C, sources differ whether 33-40 C is reversible (FAO T428 annex 4, secondary).
ACTIVATION_J_MOL = Uniform(55_000.0, 66_000.0, "Q10 near 25 C of 2.1-2.5, with the cold limit 2.5-2.9 from 20 to 24 C")
COLD_HALF_C = Uniform(9.5, 12.5, "where cold has switched off half of the rate")
COLD_J_MOL = -250_000.0
HEAT_HALF_C = Normal(34.6, 0.6, 33.2, 35.8, "where heat has switched off half of the rate")
HEAT_J_MOL = 800_000.0
BRIERE_LOW_C = Normal(9.0, 1.1, 6.8, 11.2, "threshold of the law itself; the apparent base lies 1-2 C above")
BRIERE_HIGH_C = Normal(38.2, 0.7, 36.6, 39.8, "where the law ends")
OWN_THRESHOLD_SD_C = Uniform(0.3, 0.8, "each cyst has a threshold of its own; assumption")
OWN_HEAT_LIMIT_SD_C = Uniform(0.2, 0.7, "and a heat limit; assumption")

FAMILY = Among(
    ("lognormal", "gamma", "weibull", "log-logistic"),
    (1.0, 1.0, 1.0, 1.0),
    "how the cysts of one batch differ; nothing published tells the families apart, so each gets its turn",
)
SYNCHRONY_H = LogNormal(
    8.5,
    0.30,
    5.0,
    14.0,
    "T90 - T10 at 25 C: 6.4, 6.5, 7.4 h (Yang, Bian & Li 1989), 7 h (Bethioua et al. 2017), 12 h (J. Biol. Res. 2005);"
    " the 24-27 h of one salt lake is left out: nobody sells it",
)
HATCHABLE = LogitNormal(0.68, 0.91, "18 published lots: mean 65 %, SD 18")
HATCHABLE_BATCH_LOGIT_SD = Uniform(0.10, 0.25, "batch to batch; assumption: spooning, stirring, stuck cysts")
LABELLED = 0.75  # three tins of four tell a hatch percentage; common practice
LABEL_LOGIT = Normal(
    0.35, 0.40, -1.0, 2.0, "labels are optimistic; 26 tins bought hatched 5-99.6 % (Aquaculture 194:11)"
)
LABEL_PERCENT = (50.0, 95.0)  # what labels say; common practice
SOAK_H = Uniform(1.0, 2.0, "hydration to a sphere takes 1-2 h (handbooks), the same in cold and warmth: assumption")
RESTART_H = Uniform(0.3, 2.0, "longest lag of a tin's cysts after a time without oxygen; unknown, 0-2 h: assumption")
CYSTS_PER_G = Uniform(200_000.0, 320_000.0, "nauplii per gram 200 000-300 000 (Treece 2000, SRAC 702)")
NAUPLIUS_UG = Uniform(1.63, 2.47, "dry weight of instar I by strain (Vanhaecke & Sorgeloos 1980)")
STRAIN = Among(
    ("san-francisco-bay", "great-salt-lake", ""),
    (1.0, 2.0, 1.0),
    "speed belongs to the lot, not to the strain (Vanhaecke & Sorgeloos 1982), so the name says nothing here",
)

# ---------------------------------------------------------------------------------------------------------- the room


@dataclass(frozen=True, slots=True)
class RoomKind:
    """``share`` of the outdoor swing about the year's mean comes in, late by ``lag_h``, about the indoor ``mean_c``.

    ``setback_c``: heating lowered at night in the heating season. ``floor_c``: a thermostat holds at least that.
    ``heater``: share of its keepers whose vessel has a heater of its own.
    """

    name: str
    share: Uniform
    mean_c: Uniform
    lag_h: Uniform
    setback: float
    setback_c: Uniform
    floor: float
    floor_c: Uniform
    heater: float


_NONE = Uniform(0.0, 0.0, "not in use")
ROOM = Among(
    (
        RoomKind(
            "living",
            share=Uniform(0.05, 0.15, "heated and lived in; common practice"),
            mean_c=Uniform(21.0, 24.0, "living rooms over the year; common practice"),
            lag_h=Uniform(1.5, 5.0, "walls and furniture; common practice"),
            setback=0.5,
            setback_c=Uniform(1.0, 3.0, "heating lowered from 22 to 6; common practice"),
            floor=0.0,
            floor_c=_NONE,
            heater=0.25,
        ),
        RoomKind(
            "room",
            share=Uniform(0.2, 0.4, "tempered: cellar, spare room; assumption"),
            mean_c=Uniform(19.5, 23.0, "assumption"),
            lag_h=Uniform(1.0, 4.0, "assumption"),
            setback=0.3,
            setback_c=Uniform(1.0, 3.0, "assumption"),
            floor=0.4,
            floor_c=Uniform(15.0, 19.0, "a radiator's thermostat; assumption"),
            heater=0.35,
        ),
        RoomKind(
            "garage",
            share=Uniform(0.4, 0.5, "garage or utility room against the house; assumption"),
            mean_c=Uniform(17.0, 21.0, "assumption"),
            lag_h=Uniform(1.0, 3.0, "assumption"),
            setback=0.0,
            setback_c=_NONE,
            floor=0.2,
            floor_c=Uniform(6.0, 12.0, "a frost guard; assumption"),
            heater=0.6,
        ),
        RoomKind(
            "shed",
            share=Uniform(0.7, 1.0, "unheated, thin walls; assumption"),
            mean_c=Uniform(12.5, 15.0, "the outdoor mean of 13 C, a little sun added; assumption"),
            lag_h=Uniform(0.4, 1.5, "thin walls; assumption"),
            setback=0.0,
            setback_c=_NONE,
            floor=0.0,
            floor_c=_NONE,
            heater=0.5,
        ),
    ),
    (0.28, 0.24, 0.20, 0.28),
    "where keepers hatch; assumption: cold places often enough to matter",
)
HEATING_BELOW_C = 15.0  # outdoors: when a house is heated; common practice

# -------------------------------------------------------------------------------------------------------- the vessel

LITRES = Among((1.0, 1.5, 2.0, 3.0, 5.0), (2.0, 3.0, 3.0, 1.0, 1.0), "bottles and jugs; common practice")
INSULATION = LogNormal(1.0, 0.2, 0.65, 1.6, "time constant against that of a cube of the same volume; assumption")
SURFACE_PER_H = Uniform(0.10, 0.20, "still surface of a 9 cm bottle (Cole et al. 2010, L&O Methods 8:285)")
STONE_PER_H = LogNormal(15.0, 0.35, 7.0, 30.0, "air stone, 5-30 per h (from memory, common formulas)")
HEATER_SET_C = Uniform(25.0, 28.0, "the preferred range (FAO T428 annex 4, secondary)")
HEATER_BAND_C = Uniform(0.5, 1.5, "hysteresis of cheap thermostats; common practice")
HEATER_W_PER_L = LogNormal(6.5, 0.35, 3.0, 14.0, "10-25 W in a jug, too weak for some nights; common practice")
HEATER_FAILS = 0.05  # of heated batches; assumption
FRESH_FILL = 0.25  # the others stand ready for days, with the heater on; assumption
FILL_C = Uniform(19.0, 27.0, "warm and cold tap mixed by hand; assumption")
FILL_OFF_SET_C = Normal(-1.5, 2.0, -6.0, 2.0, "mixed by hand for a heater's set point, rather too cool; assumption")

# --------------------------------------------------------------------------------------------------------- the batch

SALINITY_G_L = Uniform(20.0, 35.0, "the usable and usual range")
SALINITY_ERROR_G_L = Normal(0.0, 1.0, -2.5, 2.5, "spoons and floats against what is written; assumption")
CYSTS_G_L = LogNormal(2.0, 0.5, 1.0, 5.0, "up to 5 g/L below 20 L (secondary handbook)")
CYSTS_LOG_ERROR = Normal(0.0, 0.05, -0.15, 0.15, "weighing; assumption")
AIR_STOPS = 0.06  # of batches; assumption: knocked plugs, kinked hoses
AIR_STOP_H = LogNormal(1.5, 1.0, 0.2, 12.0, "unless a keeper comes first; assumption")
GAP_DAYS = Uniform(9.0, 42.0, "from batch to batch of one tin: over a week to six weeks")
START_HOUR = Uniform(7.0, 22.0, "local time; keepers start when they are up")
# About 48 h when nights are cold is what people put up with (common practice); where it is slower they put a heater in.
TOO_SLOW_H = 48.0

# -------------------------------------------------------------------------------------------------------- the probes

PROBE_BIAS_C = Normal(0.0, 0.3, -0.9, 0.9, "digital sensors: within 0.5 C by data sheet, once per probe")
PROBE_NOISE_C = Uniform(0.03, 0.10, "common practice")
PROBE_STEP_C = 0.0625  # 12 bit over a common sensor's range
OUTAGE = 0.10  # of batches, for each probe; assumption
OUTAGE_H = LogNormal(1.5, 0.8, 0.3, 8.0, "radio, battery, reboot; assumption")

# -------------------------------------------------------------------------------------------------------- the keeper

LOOK_GAP_H = Uniform(2.0, 12.0, "a keeper's usual time between two looks while awake")
AWAKE = (7.0, 23.0)  # local hours
WRITES = Uniform(0.5, 1.0, "share of looks that are logged; assumption")
FIRST_AT = LogNormal(
    0.010, 0.7, 0.002, 0.04, "share out from which he writes first: a few per cent or less; assumption"
)
SOME_AT = LogNormal(0.10, 0.4, 0.04, 0.25, "assumption")
MOST_AT = Uniform(0.55, 0.85, "assumption")
EYE_LOGIT_SD = Uniform(0.2, 0.5, "looseness of the eye; assumption")
COUNTS = Uniform(0.0, 0.30, "share of looks at a hatching batch with a count; assumption")
COUNTED = Uniform(30.0, 150.0, "cysts and nauplii counted in one drop; common practice")
MIXING_LOGIT_SD = Uniform(0.05, 0.25, "a drop is never the whole vessel; assumption")
HARVEST_AT = Uniform(0.85, 0.96, "share out, as he sees it, at which he harvests; assumption")
TOO_EARLY = 0.08  # of harvests, once most are out; assumption
NEXT_MORNING = 0.15  # of evening harvests put off; assumption
HARVEST_COUNTED = 0.5  # share of harvests with a counted fraction; assumption
GIVES_UP_H = Uniform(80.0, 112.0, "a batch that won't is thrown away; assumption")
