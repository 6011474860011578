"""The page of costs, and the same for programs, over a real record."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING, Any

import pytest

from monitor.cli.costs import described
from monitor.core.food import Costs
from monitor.core.log import Discard, Harvest, Start
from monitor.core.log_food import Fed, Tin
from monitor.core.model import DAY, HOUR
from monitor.store.record import Record
from monitor.store.store import Store
from tests.adapters.web.described import faults
from tests.adapters.web.memory_desk import NOW, MemoryDesk
from tests.adapters.web.shed_record import shed_bench

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.adapters.web.conftest import Served

COSTS = Costs(currency="EUR", salt_per_kg=2.0)


def a_tin(name: str, strain: str, price_per_g: float | None) -> dict[str, Any]:
    """What the bench tells of a tin that was never hatched here."""
    share = {"lo": 0.77, "mid": 0.85, "hi": 0.9}
    known = {"cysts_per_g": 360_000.0, "hatch_share": share, "batches": 0}
    return {"id": name, "strain": strain, "price_per_g": price_per_g, **known}


@pytest.fixture
def shop(tmp_path: Path, serve: Callable[..., Served]) -> Served:
    """Three batches of a tin whose price was told, one of another's, and one meal."""
    path = tmp_path / "shop.sqlite3"
    begin = NOW - 20 * DAY
    with Store.open(path, now=begin) as store:
        store.log(Tin(begin, begin, "tin-8", "sfb", 85.0, 50.0, 25.0))
        for n, lot in enumerate(("tin-8", "tin-8", "tin-8", "gift")):
            at = begin + n * DAY
            store.log(Start(at, at, f"b{n}", "ash", lot, 2.0, 2.0, 25.0))
            end = at + 30 * HOUR
            store.log(Discard(end, end, "b1", "smelt bad") if n == 1 else Harvest(end, end, f"b{n}", None, 500_000.0))
        store.log(Fed(begin + 4 * DAY, begin + 4 * DAY, "killi-1", 250_000.0, batch="b0"))
        store.commit()
    desk = MemoryDesk(shed_bench() | {"tins": [a_tin("tin-8", "sfb", 25.0 / 50.0), a_tin("gift", "", None)]})
    desk.record = Record(path)
    return serve(desk, costs=COSTS)


def test_a_price_that_nobody_told_is_not_shown_as_nothing(shop: Served, serve: Callable[..., Served]) -> None:
    """Where all that went into a batch has no price its cells stay empty: 0.00 would say that it was free."""
    with serve(shop.desk, costs=Costs(currency="EUR")).client(token=False) as client:
        text = client.get("/costs").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "0.00" not in text
    assert "1.00 EUR" in text
    assert '<td role="cell" data-name="In all" class="none"></td>' in text


def test_programs_are_told_what_the_description_says(shop: Served) -> None:
    """By hand: 1 for cysts and 0.1 for salt a batch, one of three gave nothing; a gift counts as free, and it is said."""
    with shop.client() as client:
        answer = client.get("/api/v1/costs")
    assert faults(answer, "/costs") == []
    told = answer.json()
    assert told["per_million"] == pytest.approx((3 * 1.1 + 0.1) / 1.5)
    assert told["broods"] == [
        {"brood": "killi-1", "meals": 1, "nauplii": 250_000, "cost": pytest.approx(0.55), "unknown": 0}
    ]
    assert [one["name"] for one in told["lots"]] == ["tin-8", "gift"]
    assert "gift" in told["missing"]
    assert sum(step["adds"] for step in told["steps"]) == pytest.approx(told["per_million"])
    assert told["offers"][0]["lot"] == "tin-8"


def test_the_page_and_the_command_line_say_the_same(shop: Served) -> None:
    """What a million cost, by tin, month, brood and batch; a tin with a label only says so."""
    with shop.client() as client:
        page = client.get("/costs")
        lines = "\n".join(described(client.get("/api/v1/costs").json()))
    text = unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page.text))).replace("\N{NO-BREAK SPACE}", " ")
    for words in ("A million young brine shrimp cost 2.27 EUR", "1 of them thrown away", "0.55 EUR"):
        assert words in text
        assert words in lines
    assert "its label only" in text
    assert "b1" in text


def test_the_last_days_only(shop: Served) -> None:
    """A look back of two weeks finds no batch, and says what will stand there; nonsense is refused."""
    with shop.client() as client:
        assert "No batch has ended yet" in client.get("/costs?days=14").text
        assert client.get("/api/v1/costs?days=nine").status_code == 422
        assert client.get("/api/v1/costs?days=14").json()["batches"] == []
