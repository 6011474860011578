"""Densities of salt water, against what others published and against an independent implementation."""

from __future__ import annotations

import gsw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.brine import (
    G_KG_PER_PRACTICAL,
    SALTIEST_G_KG,
    Salt,
    density,
    g_kg,
    g_l,
    plain_water,
    salinity_where,
    sea_water,
    water,
)

SALTS = st.sampled_from(Salt)
WARM = st.floats(0, 40)


@pytest.mark.parametrize(
    ("practical", "celsius", "kg_m3"),
    [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)],
)
def test_sea_water_is_as_heavy_as_the_check_values_of_its_standard(
    practical: float, celsius: float, kg_m3: float
) -> None:
    """Check values of EOS-80 at one atmosphere: Unesco technical papers in marine science 44, 1983."""
    assert sea_water(practical, celsius) == pytest.approx(kg_m3, abs=1e-5)


def test_sea_water_agrees_with_its_successor() -> None:
    """From S 5 to 45 and 5 to 35 C, EOS-80 and TEOS-10 (gsw) differ by 0.013 kg/m3 at most, up to 60 by 0.11."""
    apart: dict[bool, float] = {True: 0.0, False: 0.0}
    for practical in range(5, 61, 5):
        for celsius in range(5, 36, 5):
            absolute = gsw.SR_from_SP(practical)
            theirs = gsw.rho(absolute, gsw.CT_from_t(absolute, celsius, 0), 0)
            measured = practical <= 45
            apart[measured] = max(apart[measured], abs(sea_water(practical, celsius) - theirs))
            assert absolute == pytest.approx(practical * G_KG_PER_PRACTICAL)
    assert apart[True] < 0.013
    assert apart[False] < 0.11


@pytest.mark.parametrize(
    ("g_in_kg", "kg_m3", "per_k"),
    [(10, 1005.3, 0.22), (20, 1012.2, 0.24), (40, 1026.8, 0.28), (60, 1041.3, 0.31)],
)
def test_plain_salt_water_is_as_heavy_as_a_table_has_it(g_in_kg: float, kg_m3: float, per_k: float) -> None:
    """At 20 C within 0.15 kg/m3 of Poradnik fizykochemiczny (WNT 1974); at 15 and 25 C, by its own slope, within 0.5."""
    assert plain_water(g_in_kg, 20) == pytest.approx(kg_m3, abs=0.15)
    assert plain_water(g_in_kg, 15) == pytest.approx(kg_m3 + 5 * per_k, abs=0.5)
    assert plain_water(g_in_kg, 25) == pytest.approx(kg_m3 - 5 * per_k, abs=0.5)


@pytest.mark.parametrize(("g_in_kg", "kg_m3"), [(10, 1004.09), (20, 1011.12), (40, 1025.30)])
def test_plain_salt_water_is_as_heavy_when_it_is_warm(g_in_kg: float, kg_m3: float) -> None:
    """At 25 C within 0.1 kg/m3 of International Critical Tables (values from memory)."""
    assert plain_water(g_in_kg, 25) == pytest.approx(kg_m3, abs=0.1)


@given(WARM)
def test_water_without_salt_is_water(celsius: float) -> None:
    """Both laws end in pure water."""
    for salt in Salt:
        assert density(salt, 0.0, celsius) == pytest.approx(water(celsius), rel=1e-12)


@given(SALTS, WARM, st.floats(0, SALTIEST_G_KG - 1), st.floats(0.01, 1))
def test_more_salt_is_heavier(salt: Salt, celsius: float, less: float, more: float) -> None:
    """Never does salt make water lighter, so that a hydrometer can be read back."""
    assert density(salt, less + more, celsius) > density(salt, less, celsius)


@settings(max_examples=50)
@given(SALTS, WARM, st.floats(0.1, SALTIEST_G_KG - 0.1))
def test_what_is_in_a_litre_and_in_a_kilogram_agree(salt: Salt, celsius: float, in_a_kg: float) -> None:
    """There and back again, and a litre that is heavier than a kg holds more."""
    in_a_litre = g_l(salt, in_a_kg, celsius)
    assert g_kg(salt, in_a_litre, celsius) == pytest.approx(in_a_kg, abs=1e-9)
    assert (in_a_litre > in_a_kg) == (density(salt, in_a_kg, celsius) > 1000)


def test_a_salinity_that_is_not_there_is_the_nearest_end() -> None:
    """Looking for what never comes ends at nothing or at the most."""
    assert salinity_where(lambda found: found, -1.0) == pytest.approx(0)
    assert salinity_where(lambda found: found, 1000.0) == pytest.approx(SALTIEST_G_KG)


def test_how_much_a_ppt_differs_from_a_gram_in_a_litre() -> None:
    """25 ppt of sea salt at 25 C are 25.4 g/L, as the page says."""
    assert g_l(Salt.SEA, 25.0, 25.0) == pytest.approx(25.4, abs=0.01)
    assert g_l(Salt.PLAIN, 25.0, 25.0) == pytest.approx(25.36, abs=0.01)
