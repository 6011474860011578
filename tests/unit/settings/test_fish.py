"""The table of fish."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from monitor.settings.fish import Figure, find_fish, fish, fish_specs, nearest_fish, strain_specs


@pytest.mark.parametrize(
    ("name", "ration", "meals"),
    [
        ("angelfish", 150, 2),  # Int. J. Fish. Aquac.
        ("severum", 150, 3),  # Int. J. Fish. Aquac.; 2 to 4 meals
        ("nannostomus-beckfordi", 100, 2),  # Abe et al. 2019, Aquac. Res. 50:2276
        ("pyrrhulina-brevis", 150, 3),  # a published feeding trial; its citation was not kept
        ("hypancistrus", 400, None),  # a published feeding trial; its citation was not kept
        ("annual-killifish", 500, None),  # Acta Sci. Anim. Sci. 2020
    ],
)
def test_published_rations_are_in_the_table(name: str, ration: float, meals: int | None) -> None:
    """Nauplii per larva and day, and meals, are those that were published, and are marked as read."""
    one = fish()[name]
    spec = one.spec()
    assert (spec.ration, spec.meals) == (ration, meals)
    assert one.ration.basis == "read"


def test_published_growth_and_weaning_hold_for_fish_that_have_none_of_their_own() -> None:
    """15 to 23 % a day and weaning after 14 to 21 days, published for larvae of ornamental fish, restated."""
    for one in fish().values():
        assert 0.15 <= one.growth_per_day.value <= 0.23
        assert (14 <= one.wean_days.value <= 21) or one.wean_days.basis == "practice"
        assert 2 <= (1 + one.growth_per_day.value) ** 5 <= 3


def test_every_figure_says_how_it_is_known() -> None:
    """Read and restated figures name their source; all others say that they have none."""
    for one in fish().values():
        for figure in one.figures().values():
            assert figure.source or figure.basis in ("memory", "practice")
            assert figure.told
    with pytest.raises(ValidationError, match="names its source"):
        Figure(value=1, basis="read")


def test_small_mouths_get_finer_food_first() -> None:
    """Gouramis eat no nauplii for days, and then the small strain before the large one."""
    spec, strains = fish_specs()["gourami"], strain_specs()
    assert spec.finer_days > 0
    assert spec.largest_um is not None
    small, large = strains["san-francisco-bay"].length_um, strains["great-salt-lake"].length_um
    assert small is not None
    assert large is not None
    assert small <= spec.largest_um < large


@pytest.mark.parametrize("text", ["livebearer", "Guppy", " LIVEBEARER "])
def test_a_fish_is_found_by_any_of_its_names(text: str) -> None:
    """Id, name and other names lead to the same fish, whatever the case."""
    one = find_fish(text)
    assert one is not None
    assert one.id == "livebearer"


def test_an_unknown_fish_is_not_guessed() -> None:
    """What is not in the table is None, with the nearest name as a hint."""
    assert find_fish("angelfsh") is None
    assert nearest_fish("angelfsh") == 'Did you mean "Angelfish"?'
