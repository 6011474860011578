"""Cold stores, their probes, and what is in a tin: what is understood, what is implied, what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.model import ColdStoreSpec
from monitor.settings import ConfigError, from_document
from monitor.settings.notices import notices

Document = dict[str, Any]


def with_stores(document: Document, *stores: Document, probes: list[Document] | None = None) -> Document:
    document["cold_store"] = list(stores)
    document["probe"] += probes or []
    return document


def probe(name: str, measures: str, **more: Any) -> Document:
    return {"id": name, "topic": f"shed/{name}", "measures": measures, **more}


def found_wrong(document: Document) -> dict[str, str]:
    with pytest.raises(ConfigError) as caught:
        from_document(document)
    return {problem.pointer: str(problem) for problem in caught.value.problems}


def test_the_only_store_is_implied(document: Document) -> None:
    """With one store a store probe need not name it, an air probe must; limits have their defaults."""
    probes = [probe("cold", "store"), probe("bubbles", "air", store="fridge")]
    spec = from_document(with_stores(document, {"id": "fridge"}, probes=probes)).settings.site_spec()
    assert spec.cold_stores == {"fridge": ColdStoreSpec("fridge", 10.0, 1.0)}
    assert (spec.probes["cold"].store, spec.probes["bubbles"].store) == ("fridge", "fridge")
    assert spec.probes["bubbles"].vessel is None
    assert spec.probes["ash-air"].store is None
    assert spec.probes["shed-room"].store is None


def test_without_stores_a_store_probe_is_a_temperature(document: Document) -> None:
    """What was sound before there were cold stores is sound still."""
    spec = from_document(with_stores(document, probes=[probe("cold", "store")])).settings.site_spec()
    assert spec.probes["cold"].store is None
    assert spec.cold_stores == {}


def test_a_tin_tells_its_grams(document: Document) -> None:
    """Grams and their limit are masses in any unit; both may be left away."""
    document["lot"] = [{"id": "tin-7", "grams": "0.05 kg", "low_below": "6 g"}, {"id": "tin-8"}]
    lots = from_document(document).settings.site_spec().lots
    assert lots["tin-7"].grams == pytest.approx(50.0)
    assert lots["tin-7"].low_below == 6.0
    assert (lots["tin-8"].grams, lots["tin-8"].low_below) == (None, None)


def test_a_tin_tells_how_many_cysts_a_gram_of_it_has(document: Document) -> None:
    """A number of cysts that can be; it may be left away."""
    document["lot"] = [{"id": "tin-7", "cysts_per_g": 262_000}, {"id": "tin-8"}]
    lots = from_document(document).settings.site_spec().lots
    assert (lots["tin-7"].cysts_per_g, lots["tin-8"].cysts_per_g) == (262_000.0, None)
    document["lot"][0]["cysts_per_g"] = 262
    assert "20000" in found_wrong(document)["/lot/0/cysts_per_g"].replace(" ", "")


@pytest.mark.parametrize(
    ("stores", "probes", "pointer", "words"),
    [
        ([{"id": "a"}, {"id": "b"}], [probe("cold", "store")], "/probe/3/store", "temperature it measures: a, b"),
        ([{"id": "fridge"}], [probe("cold", "store", store="frige")], "/probe/3/store", 'Did you mean "fridge"?'),
        ([], [probe("cold", "store", store="fridge")], "/probe/3/store", "[[cold_store]]; there is none"),
        ([{"id": "fridge"}], [probe("r", "room", store="fridge")], "/probe/3/store", '"store" or "air" only'),
        (
            [{"id": "fridge"}],
            [probe("b", "air", store="fridge", vessel="ash")],
            "/probe/3/store",
            "one of the two",
        ),
        ([{"id": "fridge"}], [probe("b", "air")], "/probe/3/vessel", "the vessel whose air it measures: ash, birch"),
        ([{"id": "ash"}], [], "/cold_store/0/id", "which is a vessel"),
        ([{"id": "fridge"}, {"id": "fridge"}], [], "/cold_store/1/id", "a second time"),
        ([{"id": "fridge", "cold_below": "10 C"}], [], "/cold_store/0/cold_below", "warm_above higher by more"),
        ([{"id": "fridge", "warm_above": "1.2 C"}], [], "/cold_store/0/warm_above", "warm_above higher by more"),
        ([{"id": "fridge", "warm": 4}], [], "/cold_store/0/warm", 'cold store "fridge"'),
    ],
)
def test_what_does_not_fit_is_told(
    document: Document, stores: list[Document], probes: list[Document], pointer: str, words: str
) -> None:
    """Each fault is told where it is, with what is allowed."""
    wrong = found_wrong(with_stores(document, *stores, probes=probes))
    assert list(wrong) == [pointer]
    assert words in wrong[pointer]


def test_a_limit_without_grams_is_told(document: Document) -> None:
    """A limit of a tin whose contents nobody told would never do anything."""
    document["lot"][0]["low_below"] = "6 g"
    assert "low_below without grams" in found_wrong(document)["/lot/0/low_below"]


def test_the_store_of_readings_is_no_cold_store(document: Document) -> None:
    """Whoever writes [[store]] is told the right word; the other faults are told all the same."""
    document["store"] = [{"id": "fridge"}]
    document["web"] = {"port": 0}
    wrong = found_wrong(document)
    assert set(wrong) == {"/store", "/web/port"}
    assert "[[cold_store]]" in wrong["/store"]


def test_a_store_without_a_probe_is_noticed(document: Document) -> None:
    """A cold store that nothing measures is sound, and the keeper is told what that means."""
    settings = from_document(with_stores(document, {"id": "fridge"})).settings
    assert 'Cold store "fridge" has no probe: nobody is told when it gets warm or freezes.' in notices(settings)
    told = with_stores(document, {"id": "fridge"}, probes=[probe("cold", "store")])
    assert not [notice for notice in notices(from_document(told).settings) if "Cold store" in notice]
