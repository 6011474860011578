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
