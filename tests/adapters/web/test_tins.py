"""Tins, feedings and the ledger on the page and in the API, with the real core and a real store behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.core.log_food import Correct, Drawn, Fed, Tin, Weighed
from monitor.core.model import DAY
from monitor.web.when import as_rfc3339
from tests.adapters.web.described import faults
from tests.adapters.web.food_example import food
from tests.adapters.web.ledger_desk import LedgerDesk, shed_with_food, stocked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

PHONE: dict[str, Any] = {"viewport": {"width": 320, "height": 700}}
with_and_without_script = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[LedgerDesk]:
    desk = LedgerDesk(shed_with_food(), tmp_path / "shed.db")
    stocked(desk)
    yield desk
    desk.close()


@pytest.fixture
def shed(serve: Callable[..., Served], desk: LedgerDesk) -> Served:
    return serve(desk)


def tin(desk: LedgerDesk, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in desk.bench()["tins"] if one["id"] == name)
    return found


def chilled(desk: LedgerDesk) -> float | None:
    content = desk.bench()["stores"][0]["content"]
    return None if content is None else content["nauplii"]


# -- the API


def test_all_tins_are_told_whoever_knows_of_them(shed: Served) -> None:
    """Of the configuration, of the log, and used: what is left, what it hatches, what a million cost."""
    with shed.client() as client:
        answer = client.get("/api/v1/tins")
    assert faults(answer, "/tins") == []
    used, told = answer.json()["tins"]
    assert (used["id"], used["left_g"], used["kept"], used["told"]) == ("tin-7", 48.0, "room", None)
    assert (told["id"], told["left_g"], told["price_per_g"]) == ("tin-8", 100.0, 0.4)
    share = told["hatch_share"]
    assert 0 < share["lo"] < share["mid"] < share["hi"] < 1
    # price of a gram over what it gives: cysts in a gram, the share that hatches, 0.9 that is kept (common practice, no source)
    assert told["per_million"] == pytest.approx(1e6 * 0.4 / (told["cysts_per_g"] * share["mid"] * 0.9), rel=1e-3)


def test_what_is_not_said_of_a_tin_stays(shed: Served, desk: LedgerDesk) -> None:
    """One thing is told at a time; null takes it back, and the configuration counts again."""
    with shed.client() as client:
        for body in ({"price": 12.5, "kept": "cool"}, {"grams": 40, "strain": "sfb"}, {"price": None}):
            answer = client.post("/api/v1/tins/tin-7", json=body)
            assert answer.status_code == 200
            assert faults(answer, "/tins/{lot}", "post") == []
    told = tin(desk, "tin-7")
    assert (told["price"], told["kept"], told["grams"], told["strain"]) == (None, "cool", 40.0, "san-francisco-bay")
    assert told["left_g"] == 38.0  # what was started from it before it was told of counts
    with shed.client() as client:
        client.post("/api/v1/tins/tin-7", json={"grams": None, "strain": ""})
    assert (tin(desk, "tin-7")["grams"], tin(desk, "tin-7")["strain"]) == (50.0, "great-salt-lake")


def test_a_meal_of_several_is_noted_whole_or_not_at_all(shed: Served, desk: LedgerDesk) -> None:
    """More than the store holds is refused before any of it is noted."""
    meal = [{"brood": "killi-3", "nauplii": 70_000, "store": "fridge"}, {"nauplii": 60_000, "store": "fridge"}]
    with shed.client() as client:
        answer = client.post("/api/v1/feedings", json={"fed": meal})
        assert (answer.status_code, chilled(desk)) == (409, 120_000)
        assert "holds about 120 000, and that is 130 000" in answer.json()["detail"]
        meal[1]["nauplii"] = 50_000
        answer = client.post("/api/v1/feedings", json={"fed": meal})
    assert faults(answer, "/feedings", "post") == []
    assert [one["subject"] for one in answer.json()["done"]] == ["killi-3", "fridge"]
    assert chilled(desk) is None  # drawn to nothing is empty


@pytest.mark.parametrize(
    ("path", "body", "status", "told"),
    [
        ("/feedings", b'{"fed": []}', 422, "at least 1"),
        ("/feedings", b'{"fed": [{"nauplii": 5}]}', 422, "say who was fed"),
        ("/feedings", b'{"fed": [{"nauplii": 5, "store": "fridge", "batch": "ash-1"}]}', 422, "not both"),
        ("/feedings", b'{"fed": [{"nauplii": 0, "brood": "killi-3"}]}', 422, "greater than 0"),
        ("/stores/oak/drawn", b'{"nauplii": 5}', 404, "there are: fridge"),
        ("/tins/tin-7", b'{"opened": "2100-01-01T00:00:00Z"}', 422, "future"),
        ("/tins/tin-7", b'{"grams": 0}', 422, "greater than 0"),
        ("/tins/tin-7", b'{"kept": "attic"}', 422, "'room', 'cool' or 'frozen'"),
        (
            "/corrections",
            b'{"kind": "fed", "subject": "x", "at": "2026-03-02T01:00:00Z"}',
            422,
            "what is to be otherwise",
        ),
        (
            "/corrections",
            b'{"kind": "fed", "subject": "x", "at": "2026-03-02T01:00:00Z", "values": {"time": 5}}',
            422,
            "write it as text",
        ),
        ("/tins/tin-8", b'{"opened": "0398-06-04T04:32:25Z"}', 422, "before 1970"),
    ],
)
def test_a_refused_entry_says_what_would_be_allowed(
    shed: Served, path: str, body: bytes, status: int, told: str
) -> None:
    """A problem document for each fault, and nothing is noted."""
    shed.refuses(path, body, status, told)


def test_the_core_refuses_in_its_own_words(shed: Served) -> None:
    """What no tin, store or entry can be is told with what is there."""
    correction = {"kind": "fed", "subject": "x", "at": "2026-03-02T01:00:00Z", "gone": True}
    with shed.client() as client:
        for path, body, told in (
            ("/tins/oak/weighed", {"grams": 5}, "tin-7"),
            ("/stores/fridge/drawn", {"nauplii": 130_000}, "120 000"),
            ("/feedings", {"fed": [{"nauplii": 5, "brood": "oak"}]}, "killi-3"),
            ("/corrections", correction, "there is no feeding of x"),
        ):
            answer = client.post(f"/api/v1{path}", json=body)
            assert answer.status_code == 409, path
            assert told in answer.json()["detail"]


def test_the_ledger_tells_every_entry_as_it_stands_and_as_it_was(shed: Served, desk: LedgerDesk) -> None:
    """Newest first; a correction shows what it changed, what was taken away stands no more but is still told."""
    with shed.client() as client:
        client.post("/api/v1/feedings", json={"fed": [{"brood": "killi-3", "nauplii": 20_000, "store": "fridge"}]})
        first = client.get("/api/v1/ledger").json()["items"][0]
        key = {name: first[name] for name in ("kind", "subject", "at")}
        assert (first["kind"], first["text"]) == ("fed", "20 000 young brine shrimp to killi-3, from fridge")
        earlier = as_rfc3339(desk.shed.now - 3_600_000)
        answer = client.post("/api/v1/corrections", json={**key, "values": {"nauplii": 25_000, "time": earlier}})
        assert faults(answer, "/corrections", "post") == []
        assert chilled(desk) == 95_000
        answer = client.get("/api/v1/ledger", params={"kind": "fed"})
        assert faults(answer, "/ledger") == []
        (now,) = answer.json()["items"]
        assert ({name: now[name] for name in key}, now["fields"]["nauplii"]) == (key, 25_000)
        assert now["was"]["fields"]["nauplii"] == 20_000
        assert client.post("/api/v1/corrections", json={**key, "gone": True}).status_code == 200
        assert chilled(desk) == 120_000
        (now,) = client.get("/api/v1/ledger", params={"kind": "fed"}).json()["items"]
        assert (now["standing"], [one["gone"] for one in now["corrected"]]) == (False, [False, True])
        undo = {"kind": "correct", "subject": "killi-3", "at": now["corrected"][1]["at"]}
        assert client.post("/api/v1/undo", json=undo).status_code == 200
        assert chilled(desk) == 95_000
        assert client.get("/api/v1/ledger", params={"kind": "oak"}).status_code == 422
        assert faults(client.get("/api/v1/log"), "/log") == []


# -- the page


@pytest.mark.browser
@with_and_without_script
def test_a_tin_is_added_weighed_and_changed(shed: Served, desk: LedgerDesk, open_page: OpenPage, script: bool) -> None:
    """By forms alone, on the narrowest phone; a slip loses nothing that was typed."""
    page = open_page(shed, "/tins", java_script_enabled=script, **PHONE)
    expect(page.locator(".tin h2")).to_contain_text(["tin-7", "tin-8"])
    page.get_by_text("A new tin").click()
    page.get_by_label("Name").fill("tin-9")
    page.get_by_label("Strain").fill("sfb")
    page.get_by_label("Weight when it was new").fill("fifty")
    page.get_by_label("Price of all of it").fill("12,50")
    page.get_by_label("Hatch on the label").fill("85 %")
    page.get_by_role("button", name="Add the tin").click()
    expect(page.get_by_role("alert")).to_contain_text('Weight when it was new: "fifty" is not understood')
    expect(page.get_by_label("Price of all of it")).to_have_value("12,50")
    page.get_by_label("Weight when it was new").fill("50 g")
    page.get_by_role("button", name="Add the tin").click()
    expect(page.locator(".flash.noted")).to_have_text("Noted: tin-9 is a new tin.")
    expect(page.locator(".tin .left")).to_have_text("50 g left")
    expect(page.locator(".tale")).to_contain_text("tin-9: 50 g of San Francisco Bay, for 12.5")
    page.get_by_label("Left in it").fill("31.5 g")
    page.get_by_role("button", name="Note the weight").click()
    expect(page.locator(".tin .left")).to_have_text("31.5 g left")
    page.get_by_role("button", name="I have just opened it").click()
    page.get_by_label("Kept").select_option("frozen")
    page.get_by_role("button", name="Note the changes").click()
    expect(page.locator(".flash.noted")).to_have_text("Noted what is told of tin-9.")
    page.get_by_role("button", name="Note the changes").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is other than before")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    told = [command for command in desk.done if isinstance(command, Tin)]
    assert [type(command) for command in desk.done] == [Tin, Weighed, Tin, Tin]
    assert (told[-1].strain, told[-1].grams, told[-1].price, told[-1].kept) == (
        "san-francisco-bay",
        50.0,
        12.5,
        "frozen",
    )
    assert told[-1].time == told[0].time
    assert tin(desk, "tin-9")["left_g"] == 31.5


@pytest.mark.browser
@with_and_without_script
def test_a_feeding_is_noted_and_put_right(shed: Served, desk: LedgerDesk, open_page: OpenPage, script: bool) -> None:
    """What the next meal needs stands there already; what was wrong is corrected, and then taken away."""
    ahead = food()
    ahead["eaters"] = []
    ahead["broods"] = ahead["broods"][:1]
    desk.ahead = ahead
    page = open_page(shed, "/feed", java_script_enabled=script, **PHONE)
    expect(page.get_by_label("killi-3")).not_to_have_value("")
    page.get_by_label("killi-3").fill("a lot")
    page.get_by_role("button", name="Fed: write it down").click()
    expect(page.get_by_role("alert")).to_contain_text("a whole number")
    expect(page.get_by_label("killi-3")).to_have_value("a lot")
    page.get_by_label("killi-3").fill("200 000")
    page.get_by_role("button", name="Fed: write it down").click()
    expect(page.get_by_role("alert")).to_contain_text("120 000")
    page.get_by_label("killi-3").fill("20 000")
    page.get_by_role("button", name="Fed: write it down").click()
    expect(page.locator(".flash.noted")).to_have_text("Noted: 20 000 to killi-3.")
    assert chilled(desk) == 100_000

    page.goto(f"{shed.url}/ledger?kind=fed")
    page.get_by_role("link", name="Correct").click()
    expect(page.get_by_label("Young brine shrimp")).to_have_value("20 000")
    page.get_by_role("button", name="Correct it").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is other than before")
    page.get_by_label("Young brine shrimp").fill("30 000")
    page.get_by_role("button", name="Correct it").click()
    expect(page.locator(".flash.noted")).to_contain_text("Corrected: ")
    expect(page.locator(".of-fed")).to_contain_text("30 000 young brine shrimp to killi-3")
    expect(page.locator(".of-fed .soft")).to_have_text("Corrected; it was Young brine shrimp: 20 000.")
    assert chilled(desk) == 90_000
    page.locator(".of-fed").get_by_role("link", name="Correct").click()
    page.get_by_role("button", name="Take it away").click()
    expect(page.locator(".of-fed del")).to_contain_text("30 000 young brine shrimp")
    expect(page.locator(".of-fed").get_by_role("link", name="Correct")).to_have_count(0)
    assert chilled(desk) == 120_000
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    noted = [command for command in desk.done if isinstance(command, Fed | Correct)]
    assert [type(one) for one in noted] == [Fed, Fed, Correct, Correct]  # the first was refused
    assert [one.values for one in noted if isinstance(one, Correct)] == [{"nauplii": 30_000.0}, {}]


@pytest.mark.browser
def test_what_is_taken_out_and_not_fed_is_noted_too(shed: Served, desk: LedgerDesk, open_page: OpenPage) -> None:
    """With why, on the page of the store; what is left is told at once."""
    page = open_page(shed, "/stores/fridge", **PHONE)
    page.get_by_label("Taken out").fill("20 000")
    page.get_by_label("Why").fill("dead at the bottom")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("#store-0")).to_contain_text("about 100 000 nauplii")
    (drawn,) = desk.done
    assert isinstance(drawn, Drawn)
    assert (drawn.store, drawn.nauplii, drawn.why) == ("fridge", 20_000, "dead at the bottom")


def test_the_ledger_has_pages_of_fifty_and_says_the_year(shed: Served, desk: LedgerDesk) -> None:
    """What is old is as easy to find as what is new; an entry of another year says which."""
    now = desk.shed.now
    desk.note(*(Weighed(time=now - n, logged=now - n, lot="tin-8", grams=90.0) for n in range(60, 0, -1)))
    with shed.client(token=False) as client:
        first, second = client.get("/ledger").text, client.get("/ledger?page=2").text
        assert (first.count('<li class="of-'), second.count('<li class="of-')) == (50, 15)
        assert 'href="/ledger?page=2" rel="next"' in first
        assert f"{(now - 400 * DAY) // 31_556_952_000 + 1970}</h2>" in second
        assert client.get("/ledger/fed/nobody/2026-03-02T01:00:00.000Z").status_code == 404
        assert client.get("/ledger/fed/nobody/then").status_code == 404
        assert "tin-7, tin-8" in client.get("/tins/oak").text
