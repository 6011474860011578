"""The table of strains."""

from __future__ import annotations

import pytest

from monitor.settings.strains import find, nearest_strain, strains


def test_published_sizes_are_in_the_table() -> None:
    """Lengths and weights are those of Vanhaecke & Sorgeloos 1980, as restated on a secondary page."""
    table = strains()
    small, large = table["san-francisco-bay"], table["great-salt-lake"]
    assert (small.length_um, small.dry_weight_ug) == (428, 1.63)
    assert (large.length_um, large.dry_weight_ug) == (486, 2.42)
    assert table["lagkor"].length_um == 667
    assert table["lagkor"].dry_weight_ug is None


def test_cysts_in_a_gram_agree_with_the_table_they_come_from() -> None:
    """Nauplii from a gram over hatch percentage, FAO fisheries technical paper 361, from memory, to ten thousand; few have it."""
    from_a_gram = {
        "san-francisco-bay": 259_200 / 0.714,
        "great-salt-lake": 106_000 / 0.439,
        "shark-bay": 217_600 / 0.875,
        "chaplin-lake": 65_600 / 0.195,
        "buenos-aires": 193_600 / 0.628,
    }
    known = {name: strain.cysts_per_g for name, strain in strains().items() if strain.cysts_per_g is not None}
    assert known == {name: pytest.approx(number, abs=5000) for name, number in from_a_gram.items()}


def test_every_strain_names_its_source() -> None:
    """No figure stands in the table without its source and how well that was seen."""
    assert len(strains()) == 8
    assert all(strain.source and strain.basis for strain in strains().values())


@pytest.mark.parametrize("text", ["san-francisco-bay", "San Francisco Bay", "SFB", " sfb "])
def test_a_strain_is_found_by_any_of_its_names(text: str) -> None:
    """Id, name and short name lead to the same strain, whatever the case."""
    strain = find(text)
    assert strain is not None
    assert strain.id == "san-francisco-bay"


def test_an_unknown_strain_is_not_guessed() -> None:
    """What is not in the table is None, with the nearest name as a hint."""
    assert find("salt lake, 2024 harvest") is None
    assert nearest_strain("shark-bya") == 'Did you mean "shark-bay"?'
