"""What instruments show, as salinity: against published values, and back again."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import gsw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.brine import G_KG_PER_PRACTICAL, Salt, density, water
from monitor.core.salinity import (
    Reference,
    Unsalted,
    by_conductivity,
    by_hydrometer,
    by_refractometer,
    hydrometer_shows,
    known,
    plain_ms_cm,
    practical,
    sea_35_ms_cm,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.salinity import Salinity

SIXTY_F = Reference(15.5556, 15.5556)
WARM_F = Reference(25.0, 25.0)


@pytest.mark.parametrize(
    ("celsius", "shown", "ppt"),
    [(23.3, 1.020, 28.0), (25, 1.020, 28.6), (30, 1.020, 30.5), (25, 1.023, 32.5), (25, 1.027, 37.8)],
)
def test_a_float_for_sixty_degrees_reads_as_a_published_table_has_it(celsius: float, shown: float, ppt: float) -> None:
    """Within 0.6 of the hobby's table at reefs.org/survey/salinity_conversion, which does not name its law and is lower."""
    found = by_hydrometer(Salt.SEA, shown, celsius, SIXTY_F)
    assert found.g_kg == pytest.approx(ppt, abs=0.6)
    assert found.g_kg > ppt


def test_what_a_float_is_made_for_matters() -> None:
    """The same 1.020 at 25 C is 2.4 g/kg more on a float for 60/60 F than for 25/25 C, and less on one for 25/4 C."""
    warm = by_hydrometer(Salt.SEA, 1.020, 25.0, WARM_F).g_kg
    assert by_hydrometer(Salt.SEA, 1.020, 25.0, SIXTY_F).g_kg - warm == pytest.approx(2.4, abs=0.1)
    assert by_hydrometer(Salt.SEA, 1.020, 25.0, Reference(25.0, 4.0)).g_kg - warm == pytest.approx(4.0, abs=0.1)


def test_a_float_at_its_own_temperature_shows_the_ratio_of_densities() -> None:
    """Nothing but the ratio of densities: no glass has grown. Plain salt is 1.6 g/kg more than sea salt by the same float."""
    shown = density(Salt.SEA, 25.0, 25.0) / water(25.0)
    assert hydrometer_shows(Salt.SEA, 25.0, 25.0, WARM_F) == pytest.approx(shown)
    assert by_hydrometer(Salt.SEA, shown, 25.0, WARM_F).g_kg == pytest.approx(25.0)
    assert by_hydrometer(Salt.PLAIN, shown, 25.0, WARM_F).g_kg == pytest.approx(26.6, abs=0.1)


def test_half_a_mark_is_told() -> None:
    """0.0005 either way is 0.7 g/kg."""
    found = by_hydrometer(Salt.SEA, 1.0185, 25.0, WARM_F)
    assert found.g_kg - found.low_g_kg == pytest.approx(0.66, abs=0.02)
    assert found.high_g_kg - found.g_kg == pytest.approx(0.66, abs=0.02)
    low, mid, high = found.g_l
    assert low < found.g_kg < mid < high


@settings(max_examples=60)
@given(
    st.sampled_from(Salt),
    st.floats(0.5, 55),
    st.floats(5, 35),
    st.sampled_from([WARM_F, SIXTY_F, Reference(20.0, 4.0), Reference(15.0, 15.0)]),
)
def test_a_float_is_read_back(salt: Salt, salinity: float, celsius: float, reference: Reference) -> None:
    """What it shows in some water, read, is that water; more salt shows more."""
    shown = hydrometer_shows(salt, salinity, celsius, reference)
    assert by_hydrometer(salt, shown, celsius, reference).g_kg == pytest.approx(salinity, abs=1e-6)
    assert hydrometer_shows(salt, salinity + 0.1, celsius, reference) > shown


def test_the_practical_scale_is_the_standard_one() -> None:
    """Sea water of 35 at 15 C is 35 by definition; 2 to 42 at 5 to 35 C agree with gsw to a millionth."""
    assert practical(1.0, 15.0) == pytest.approx(35.0, abs=1e-9)
    assert sea_35_ms_cm(15.0) == pytest.approx(42.914, abs=1e-4)
    for celsius in (5.0, 15.0, 25.0, 35.0):
        for salinity in (2.5, 10.0, 25.0, 41.0):
            conducts = float(gsw.C_from_SP(salinity, gsw.t90_from_t68(celsius), 0))
            assert practical(conducts / sea_35_ms_cm(celsius), celsius) == pytest.approx(salinity, abs=1e-6)


def test_a_meter_tells_salinity() -> None:
    """Sea water of 35 conducts 53.1 mS/cm at 25 C, and holds 35.2 g/kg."""
    found = by_conductivity(Salt.SEA, 53.065, 25.0)
    assert found.g_kg == pytest.approx(35 * G_KG_PER_PRACTICAL, abs=0.02)
    assert found.low_g_kg < found.g_kg - 0.5 < found.g_kg + 0.5 < found.high_g_kg
    assert by_conductivity(Salt.SEA, 0.0, 25.0).g_kg == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(("g_in_kg", "ms_cm_20"), [(5, 8.2), (10, 16.0), (20, 30.2), (50, 70.1)])
def test_plain_salt_conducts_as_a_handbook_has_it(g_in_kg: float, ms_cm_20: float) -> None:
    """Within 3 % of the CRC Handbook's values at 20 C (from memory), at 2.1 % a degree (common practice)."""
    assert plain_ms_cm(g_in_kg) == pytest.approx(ms_cm_20 * 1.105, rel=0.03)
    assert by_conductivity(Salt.PLAIN, plain_ms_cm(g_in_kg), 25.0).g_kg == pytest.approx(g_in_kg, abs=1e-6)


def test_a_refractometer_for_sea_water_shows_too_little_in_plain_salt() -> None:
    """Its ppt are taken as they are for sea salt, and as 4 % more for plain."""
    assert by_refractometer(Salt.SEA, 25.0, 20.0).g_kg == 25.0
    assert by_refractometer(Salt.PLAIN, 25.0, 20.0).g_kg == pytest.approx(26.0)
    assert by_refractometer(Salt.SEA, 0.0, 20.0).low_g_kg == 0.0


def test_what_is_known_has_no_range() -> None:
    """The keeper's own g/L comes back as it was."""
    assert known(Salt.SEA, 25.0, 25.0).g_l == pytest.approx((25.0, 25.0, 25.0))


@pytest.mark.parametrize(
    ("reading", "field", "told"),
    [
        (lambda: by_hydrometer(Salt.SEA, 1.2, 25.0), "shown", "can't show 1.2"),
        (lambda: by_hydrometer(Salt.SEA, 0.99, 25.0), "shown", "no salt"),
        (lambda: by_hydrometer(Salt.SEA, math.nan, 25.0), "shown", "can't show"),
        (lambda: by_hydrometer(Salt.SEA, 1.02, 77.0), "water_c", "0 to 40 C"),
        (lambda: by_hydrometer(Salt.SEA, 1.02, 25.0, Reference(60.0, 60.0)), "reference_c", "0 to 40 C"),
        (lambda: by_refractometer(Salt.SEA, 100.0, 25.0), "shown", "0 to 60 ppt"),
        (lambda: by_conductivity(Salt.SEA, 200.0, 25.0), "shown", "mS/cm"),
        (lambda: by_conductivity(Salt.PLAIN, 200.0, 25.0), "shown", "mS/cm"),
        (lambda: by_conductivity(Salt.SEA, 1e300, 25.0), "shown", "mS/cm"),
        (lambda: known(Salt.SEA, -1.0, 25.0), "shown", "0 to 60 g/L"),
    ],
)
def test_what_no_instrument_shows_is_refused(reading: Callable[[], Salinity], field: str, told: str) -> None:
    """The refusal names its field, and says what is allowed."""
    with pytest.raises(Unsalted, match=told.replace(".", r"\.")) as refusal:
        reading()
    assert refusal.value.field == field
