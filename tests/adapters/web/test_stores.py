"""Cold stores on the page, in the API and at the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from monitor.cli import swimup
from monitor.core.log import Chill, Emptied
from monitor.core.model import HOUR, MINUTE
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_content, a_store, an_alarm, bad_night, measured

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]
    Serve = Callable[..., Served]

with_and_without_script = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
WITH_FRIDGE = f'{CONFIG}[[cold_store]]\nid = "fridge"\n'


def cold_night() -> dict[str, Any]:
    """As the bad night, with a full refrigerator and an empty cellar without probes."""
    cellar = a_store("cellar", temperature=None, air=None, air_probe=False)
    return {**bad_night(), "stores": [a_store("fridge", a_content()), cellar]}


@pytest.fixture
def cold(serve: Serve) -> Served:
    return serve(MemoryDesk(cold_night()))


# -- the API


@pytest.mark.parametrize(
    ("path", "body", "command"),
    [
        (
            "/stores/fridge/chill",
            {"nauplii": 50_000, "litres": 0.25},
            Chill(NOW, NOW, "fridge", 50_000, 0.25, "open", 0.0, aerated=True),
        ),
        (
            "/stores/cellar/chill",
            {"nauplii": 50_000, "litres": 0.25},
            Chill(NOW, NOW, "cellar", 50_000, 0.25, "open", 0.0, aerated=False),
        ),
        (
            "/stores/fridge/chill",
            {"nauplii": 5, "litres": 0.25, "aerated": False, "batch": "b1", "time": "2026-03-02T01:40:00+01:00"},
            Chill(NOW - 30 * MINUTE, NOW, "fridge", 5, 0.25, "open", 0.0, aerated=False, batch="b1"),
        ),
        (
            "/stores/cellar/chill",
            {"nauplii": 1e6, "litres": 0.5, "gas": "oxygen", "gas_l": 1},
            Chill(NOW, NOW, "cellar", 1e6, 0.5, "oxygen", 1.0, aerated=False),
        ),
        ("/stores/fridge/emptied", None, Emptied(NOW, NOW, "fridge")),
        ("/stores/fridge/emptied", {"time": "2026-03-02T00:10:00Z"}, Emptied(NOW - HOUR, NOW, "fridge")),
    ],
)
def test_an_entry_about_a_store_has_one_address(
    cold: Served, path: str, body: dict[str, Any] | None, command: object
) -> None:
    """What need not be said is filled in; what is open is aerated where a probe watches the aeration."""
    with cold.client() as client:
        answer = client.post(f"/api/v1{path}", json=body) if body is not None else client.post(f"/api/v1{path}")
    assert answer.status_code == 200
    assert cold.desk.done == [command]


@pytest.mark.parametrize(
    ("path", "body", "status", "told"),
    [
        ("/stores/oak/chill", b'{"nauplii": 1, "litres": 1}', 404, "there are: fridge, cellar"),
        ("/stores/oak/emptied", b"", 404, "there are: fridge, cellar"),
        ("/stores/fridge/chill", b"{}", 422, "nauplii: Field required; litres: Field required"),
        ("/stores/fridge/chill", b'{"nauplii": 0, "litres": 1}', 422, "greater than 0"),
        ("/stores/fridge/chill", b'{"nauplii": 1, "litres": 1, "gas": "helium"}', 422, "'open', 'air' or 'oxygen'"),
        ("/stores/fridge/chill", b'{"nauplii": NaN, "litres": 1}', 422, "finite"),
        ("/stores/fridge/emptied", b'{"time": "2026-03-02T09:40:00Z"}', 422, "future"),
        ("/stores/fridge/emptied", b'{"all": true}', 422, "all"),
    ],
)
def test_a_refused_entry_says_what_would_be_allowed(
    cold: Served, path: str, body: bytes, status: int, told: str
) -> None:
    """A problem document for each error, and nothing is changed by one."""
    cold.refuses(path, body, status, told)
    with cold.client() as client:
        assert client.get("/api/v1/bench").json()["stores"] == cold_night()["stores"]


def test_nobody_without_a_key_empties_a_store(cold: Served) -> None:
    """Both addresses ask for the token, or a page's session with its own."""
    with cold.client(token=False) as client:
        for what in ("chill", "emptied"):
            assert client.post(f"/api/v1/stores/fridge/{what}", json={}).status_code == 403
            assert client.post(f"/stores/fridge/{what}", data={}).status_code == 403
    assert cold.desk.done == []


# -- the command line


def call(served: Served, folder: Path, *words: str) -> tuple[int, str]:
    config = folder / "swimup.toml"
    port = int(served.url.rsplit(":", 1)[1])
    config.write_text(WITH_FRIDGE.format(state=served.options.state_dir, port=port))
    result = CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, words)
    return result.exit_code, result.output


def test_the_command_line_chills_and_empties(cold: Served, tmp_path: Path) -> None:
    """Amounts in a keeper's units; the answer says until when it is good."""
    code, told = call(cold, tmp_path, "store", "chill", "fridge", "--nauplii", "50 000", "--water", "250 mL")
    assert code == 0, told
    assert told.startswith(
        "Noted: 50 000 nauplii went into fridge. Good until about Tue 16:10. Somewhere from "
        "Tue 00:10 to Wed 16:10. Kept longer at this temperature"
    )
    code, told = call(cold, tmp_path, "store", "empty", "fridge", "--time", "01:40")
    assert (code, told) == (0, "Noted: fridge is empty.\n")
    bag = ("--gas", "oxygen", "--gas-volume", "1 L", "--still", "--batch", "b1")
    assert call(cold, tmp_path, "store", "chill", "cellar", "--nauplii", "9", "--water", "1 L", *bag)[0] == 0
    assert cold.desk.done == [
        Chill(NOW, NOW, "fridge", 50_000, 0.25, "open", 0.0, aerated=True),
        Emptied(NOW - 30 * MINUTE, NOW, "fridge"),
        Chill(NOW, NOW, "cellar", 9, 1.0, "oxygen", 1.0, aerated=False, batch="b1"),
    ]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["chill", "fridge", "--water", "1 L"], 2, "--nauplii"),
        (["chill", "fridge", "--nauplii", "many", "--water", "1 L"], 2, "a whole number such as 180000"),
        (["chill", "fridge", "--nauplii", "9", "--water", "2 g"], 2, "allowed: a volume"),
        (["empty", "oak"], 1, "there are: fridge, cellar"),
    ],
)
def test_a_wrong_call_is_told(cold: Served, tmp_path: Path, words: list[str], code: int, told: str) -> None:
    """A slip of the hand is a usage error, a store that is not there the service's own answer."""
    found, said = call(cold, tmp_path, "store", *words)
    assert found == code
    assert told in said
    assert cold.desk.done == []


def test_status_tells_of_the_stores(cold: Served, tmp_path: Path) -> None:
    """What is chilled, how cold it is and until when it is good stand under the vessels."""
    _, told = call(cold, tmp_path, "status")
    lines = told.splitlines()
    at = lines.index("fridge: chilled")
    assert lines[at + 1] == "  4.3 °C, air running"
    assert lines[at + 2] == "  about 200 000 nauplii in 0.5 L, open, with slight aeration, since Sun 16:10"
    assert lines[at + 3].startswith("  Good until about Tue 16:10.")
    assert lines[lines.index("cellar: empty") + 1] == "  no reading"


# -- the page


@pytest.mark.browser
def test_a_store_shows_what_is_in_it_and_until_when(cold: Served, open_page: OpenPage) -> None:
    """Its temperature, its air, the end with its range and the reason, as words."""
    page = open_page(cold)
    fridge, cellar = page.locator("#store-0"), page.locator("#store-1")
    expect(fridge).to_contain_text("fridge")
    expect(fridge.locator(".stage")).to_have_text("chilled")
    expect(fridge.locator(".number").first).to_contain_text("4.3 °C")
    expect(fridge.locator(".air b")).to_have_text("running")
    expect(fridge.locator(".ready")).to_have_text("Good until about Tue 16:10")
    expect(fridge.locator(".spread")).to_contain_text("Tue 00:10 to Wed 16:10")
    expect(fridge.locator(".why")).to_have_text("Kept longer at this temperature more and more of them die.")
    expect(cellar.locator(".stage")).to_have_text("empty")
    expect(cellar).to_contain_text("no reading")
    expect(cellar.locator(".air")).to_have_count(0)


@pytest.mark.browser
def test_a_store_in_trouble_bears_its_mark(serve: Serve, open_page: OpenPage) -> None:
    """The gravest open alarm of a store marks its card, an old temperature is marked as old."""
    bench = cold_night()
    bench["alarms"].append(an_alarm("store-warm", "fridge", "medium", 3, title="fridge is too warm: 14.2 C"))
    bench["stores"][0]["temperature"] = measured(14.2, 1500, "fridge-cold", fresh=False)
    page = open_page(serve(MemoryDesk(bench)))
    expect(page.locator("#store-0 h2 .shape.medium")).to_have_count(1)
    expect(page.locator("#store-1 h2 .shape")).to_have_count(0)
    expect(page.locator("#store-0 .number.stale")).to_contain_text("25 min old")
    expect(page.locator("#store-0 .caution")).to_have_text("Its temperature is old, so this is too.")


@pytest.mark.browser
@with_and_without_script
def test_emptying_takes_two_taps_and_never_one(cold: Served, open_page: OpenPage, script: bool) -> None:
    """A thumb that slips throws nothing away."""
    page = open_page(cold, java_script_enabled=script)
    fridge = page.locator("#store-0")
    fridge.locator("summary", has_text="Empty").click()
    assert cold.desk.done == []
    fridge.get_by_role("button", name="Yes, fridge is empty").click()
    expect(fridge.locator(".stage")).to_have_text("empty")
    expect(page.locator(".flash")).to_have_text("Noted: fridge is empty.")
    assert cold.desk.done == [Emptied(NOW, NOW, "fridge")]


@pytest.mark.browser
@with_and_without_script
def test_putting_in_keeps_what_was_typed_when_it_cannot(cold: Served, open_page: OpenPage, script: bool) -> None:
    """A mistake in one field loses none of the others."""
    page = open_page(cold, java_script_enabled=script)
    page.locator("#store-1").get_by_role("link", name="Put nauplii in").click()
    page.get_by_label("Young brine shrimp").fill("200 000")
    page.get_by_label("Water").fill("half a litre")
    page.get_by_label("Kept").select_option("closed over oxygen")
    page.get_by_label("Gas closed in").fill("1000 mL")
    page.get_by_label("When").fill("01:40")
    page.get_by_role("button", name="Chill them").click()
    expect(page.get_by_role("alert")).to_contain_text('Water: "half a litre" is not understood')
    expect(page.get_by_label("Young brine shrimp")).to_have_value("200 000")
    expect(page.get_by_label("Kept")).to_have_value("oxygen")
    page.get_by_label("Water").fill("0.5 L")
    page.get_by_role("button", name="Chill them").click()
    expect(page.locator("#store-1 .stage")).to_have_text("chilled")
    assert cold.desk.done == [
        Chill(NOW - 30 * MINUTE, NOW, "cellar", 200_000, 0.5, "oxygen", 1.0, aerated=False),
    ]


@pytest.mark.browser
def test_a_refusal_is_told_on_the_form(serve: Serve, open_page: OpenPage) -> None:
    """A closed bag takes nothing more; the keeper reads why, beside the way to say that it is empty."""
    bench = cold_night()
    bench["stores"][0]["content"] = a_content(gas="oxygen", gas_l=1.0, aerated=False)
    served = serve(MemoryDesk(bench))
    page = open_page(served, "/stores/fridge")
    expect(page.get_by_label("Kept")).to_have_value("aerated")
    page.get_by_label("Young brine shrimp").fill("9")
    page.get_by_label("Water").fill("1 L")
    page.get_by_role("button", name="Chill them").click()
    expect(page.get_by_role("alert")).to_contain_text("Note that it is empty first")
    page.get_by_role("button", name="Fed or thrown away: fridge is empty").click()
    expect(page.locator("#store-0 .stage")).to_have_text("empty")


@pytest.mark.browser
@pytest.mark.parametrize("path", ["/", "/stores/fridge"])
def test_nothing_spills_at_320_px(cold: Served, open_page: OpenPage, path: str) -> None:
    """On the narrowest phone nothing is wider than the screen, and what is pressed is high enough for a thumb."""
    page = open_page(cold, path, viewport={"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    for press in page.locator("#store-0 summary, #store-0 a.button, #store-1 a.button, main form.form button").all():
        box = press.bounding_box()
        assert box is None or box["height"] >= 44
