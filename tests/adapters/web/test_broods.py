"""Broods on the page, in the API and at the command line."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from monitor.cli import swimup
from monitor.core.brood_book import held
from monitor.core.log_food import Brood, BroodEnded, Counted, Eater
from monitor.core.model import DAY, HOUR
from monitor.web.when import as_rfc3339
from tests.adapters.web.brood_example import brood_site
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.core_desk import CoreDesk
from tests.adapters.web.memory_desk import NOW
from tests.unit.core.worlds import Shed, site

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]
    Serve = Callable[..., Served]

KILLI = "/api/v1/broods/killi-3"


# -- the API


@pytest.mark.parametrize(
    ("path", "body", "command"),
    [
        (
            "/broods",
            {"brood": "n-1", "fish": "Guppy", "larvae": 20},
            Brood(time=NOW, logged=NOW, brood="n-1", fish="livebearer", larvae=20),
        ),
        (
            "/broods",
            {
                "brood": "n-1",
                "fish": "my own",
                "larvae": 20,
                "time": as_rfc3339(NOW - 3 * DAY),
                "swam_up": as_rfc3339(NOW - HOUR),
                "ration": 50,
                "swim_up_days": 4,
                "wean_days": 20,
            },
            Brood(
                time=NOW - 3 * DAY,
                logged=NOW,
                brood="n-1",
                fish="my own",
                larvae=20,
                swam_up=NOW - HOUR,
                ration=50,
                swim_up_days=4,
                wean_days=20,
            ),
        ),
        ("/broods/killi-3/counted", {"larvae": 40}, Counted(time=NOW, logged=NOW, brood="killi-3", larvae=40)),
        ("/broods/killi-3/ended", {"how": "lost"}, BroodEnded(time=NOW, logged=NOW, brood="killi-3", how="lost")),
        (
            "/broods/killi-3/swam-up",
            {},
            Brood(time=NOW - 6 * DAY, logged=NOW, brood="killi-3", fish="killifish", larvae=60, swam_up=NOW),
        ),
        (
            "/eaters",
            {"eater": "adults", "nauplii_per_day": 5000, "meals": 1},
            Eater(time=NOW, logged=NOW, eater="adults", nauplii_per_day=5000, meals=1),
        ),
    ],
)
def test_an_entry_about_broods_has_one_address(
    served: Served, path: str, body: dict[str, Any], command: object
) -> None:
    """What need not be said is left to the table of fish; a fish is known by any of its names."""
    with served.client() as client:
        answer = client.post(f"/api/v1{path}", json=body)
    assert answer.status_code == 200
    assert served.desk.done == [command]


@pytest.mark.parametrize(
    ("path", "body", "status", "told"),
    [
        ("/broods", b"{}", 422, "brood: Field required; fish: Field required; larvae: Field required"),
        ("/broods", b'{"brood": "a/b", "fish": "betta", "larvae": 1}', 422, "brood"),
        ("/broods/no-1/swam-up", b"{}", 404, "there are: killi-3, gourami-1, scalare-2"),
        ("/broods/killi-3/counted", b'{"larvae": -1}', 422, "greater than or equal to 0"),
        ("/broods/killi-3/ended", b'{"how": "eaten"}', 422, "'weaned', 'lost' or 'moved'"),
        ("/eaters", b'{"eater": "x", "nauplii_per_day": 1, "meals": 99}', 422, "less than or equal to 24"),
    ],
)
def test_a_body_that_cannot_be_is_answered_with_what_can(
    served: Served, path: str, body: bytes, status: int, told: str
) -> None:
    """Nothing is noted, and the answer names field and bounds."""
    served.refuses(path, body, status, told)


def test_broods_and_the_table_of_fish_can_be_read(served: Served) -> None:
    """Swim-up with its range, needs of today and of a week on, and each figure's source."""
    with served.client() as client:
        told = client.get("/api/v1/broods").json()
        table = {one["id"]: one for one in client.get("/api/v1/fish").json()["fish"]}
    killi, gourami, scalare = told["broods"]
    ends = killi["swim_up"]
    assert ends["lo"] < ends["mid"] < ends["hi"]
    assert (killi["needs_per_day_now"], gourami["needs_per_day_now"]) == (0, 0)
    assert 0 < scalare["needs_per_day_now"] < scalare["needs_per_day_in_7_days"]
    assert scalare["larvae"] < 110
    assert gourami["tins"]["tin-8"] < gourami["tins"]["tin-7"]
    assert [one["id"] for one in told["ended"]] == ["killi-2"]
    assert table["angelfish"]["ration"] == {"value": 150.0, "basis": "read", "source": "Int. J. Fish. Aquac."}


# -- the page, with the real core behind it


@pytest.fixture
def desk() -> CoreDesk:
    known = brood_site()
    return CoreDesk(Shed(site(fish=known.fish, strains=known.strains, lots=known.lots, feeding_times=(420, 1080))))


@pytest.mark.browser
@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_a_brood_is_told_counted_and_ended_by_hand(
    serve: Serve, open_page: OpenPage, desk: CoreDesk, script: bool
) -> None:
    """From the spawning to weaning with a thumb, with and without script; what was typed is not lost when it is refused."""
    served = serve(desk)
    page = open_page(served, "/broods", viewport={"width": 390, "height": 844}, java_script_enabled=script)
    page.get_by_role("link", name="Add a brood").click()
    page.locator("[name=brood]").fill("killi 3")
    page.locator("[name=fish]").fill("Killi")
    page.locator("[name=larvae]").fill("many")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("alert")).to_contain_text('Larvae: "many" is not understood')
    expect(page.locator("[name=brood]")).to_have_value("killi 3")
    page.locator("[name=larvae]").fill("60")
    page.locator("[name=spawned]").fill("2026-02-10")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("status")).to_have_text("Noted: brood killi 3.")
    expect(page.locator(".brood")).to_contain_text("60 larvae expected")
    page.get_by_role("button", name="They swim: seen today").click()
    expect(page.locator(".brood")).to_contain_text("Swam up today")
    page.get_by_role("link", name="killi 3").click()
    page.get_by_label("Larvae left").fill("45")
    page.get_by_role("button", name="Note the count").click()
    expect(page.locator(".brood")).to_contain_text("45 larvae, counted today")
    (brood,) = held(desk.shed.engine.state, desk.shed.now)[0]
    assert (brood.larvae, brood.recounted, brood.fish.id) == (45, True, "killifish")
    page.get_by_role("link", name="killi 3").click()
    page.get_by_role("button", name="End this brood").click()
    expect(page.get_by_text("killi 3, Killifish, eggs kept in water: They eat other food now, today")).to_be_visible()
    assert held(desk.shed.engine.state, desk.shed.now) == ((), ())


@pytest.mark.browser
def test_what_was_told_can_be_changed_and_the_rest_stays(serve: Serve, open_page: OpenPage, desk: CoreDesk) -> None:
    """The form holds what was told; the instant of spawning stays to the minute while its day is the same."""
    began = desk.shed.now - 5 * DAY - 7 * HOUR
    desk.shed.do(Brood(time=began, logged=desk.shed.now - HOUR, brood="a-1", fish="angelfish", larvae=200))
    desk.renew()
    served = serve(desk)
    page = open_page(served, "/broods/a-1", viewport={"width": 320, "height": 800})
    page.get_by_text("Change what was told").click()
    page.get_by_text("Your own figures").click()
    page.get_by_label("Growth of the ration").fill("15 %")
    page.get_by_role("button", name="Keep this").click()
    expect(page.get_by_role("status")).to_contain_text("a-1 as you told it now")
    (brood,) = held(desk.shed.engine.state, desk.shed.now)[0]
    assert (brood.spawned, brood.larvae) == (began, 200)
    assert brood.fish.growth_per_day == pytest.approx(0.15)
    assert brood.fish.ration == 150
    page.get_by_text("Say what others get").click()
    page.get_by_label("Who").fill("tetras")
    page.get_by_label("Young brine shrimp a day").fill("4 000")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("tetras: 4 000 a day, at each feeding time")).to_be_visible()


@pytest.mark.browser
def test_the_pages_fit_a_narrow_phone(served: Served, chromium: Browser) -> None:
    """Nothing runs out sideways at 320 px, and each target is large enough for a thumb."""
    context = chromium.new_context(viewport={"width": 320, "height": 800}, service_workers="block")
    page = context.new_page()
    for path in ("/broods", "/broods/scalare-2", "/broods/new"):
        page.goto(served.url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
        small = "[...document.querySelectorAll('main a, main button, main summary, main input, main select')]"
        small += ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 24).map(one => one.outerHTML)"
        assert page.evaluate(small) == [], path
    context.close()


def test_a_refusal_of_the_bench_is_shown_where_it_was_typed(serve: Serve, desk: CoreDesk) -> None:
    """What the core says no to stands above the form, and the form still holds what was typed."""
    served = serve(desk)
    with served.client() as client:
        page = client.get("/broods/new").text
        token = page.split('name="csrf" value="')[1].split('"')[0]
        given = {"csrf": token, "brood": "g-9", "fish": "gurami", "larvae": "50", "spawned": "2026-02-25"}
        answer = client.post("/broods/new", data=given)
    assert answer.status_code == 409
    assert "did you mean gourami?" in answer.text
    assert 'value="gurami"' in answer.text


# -- the command line


@pytest.fixture
def run(tmp_path: Path) -> Callable[..., str]:
    """Runs a command against a served desk; what it printed."""

    def call(served: Served, *words: str, code: int = 0) -> str:
        config = tmp_path / "swimup.toml"
        port = served.url.rsplit(":", 1)[1]
        config.write_text(CONFIG.format(port=port, state=tmp_path / "state", more=""))
        done = CliRunner().invoke(swimup, [*words, "--config", str(config)] if "fish" not in words else [*words])
        assert done.exit_code == code, done.output
        return done.output

    return call


def test_the_command_line_tells_and_lists_broods(served: Served, run: Callable[..., str]) -> None:
    """What the page says in sentences stands in a terminal too."""
    listed = run(served, "brood", "list")
    assert "killi-3: Killifish, eggs kept in water, 60 larvae expected. Swims up about" in listed
    assert "tetras: 4 000 a day, at each feeding time." in listed
    assert {one["id"] for one in json.loads(run(served, "brood", "list", "--json"))["broods"]} >= {"killi-3"}
    told = run(served, "brood", "add", "n-1", "--fish", "betta", "--larvae", "90", "--growth-percent", "20")
    assert told == "Noted: brood n-1.\n"
    assert run(served, "brood", "count", "n-1", "80") == "Noted: 80 larvae in n-1.\n"
    assert run(served, "brood", "swims", "killi-3") == "Noted: killi-3 swims.\n"
    assert "needs no young brine shrimp" in run(served, "brood", "end", "killi-3", "--how", "moved")
    assert run(served, "eater", "set", "adults", "0") == "Noted: adults get nothing any more.\n"
    kinds = [type(one).__name__ for one in served.desk.done]
    assert kinds == ["Brood", "Counted", "Brood", "BroodEnded", "Eater"]
    assert served.desk.done[0].growth_per_day == pytest.approx(0.2)


def test_the_command_line_shows_the_table_of_fish(served: Served, run: Callable[..., str]) -> None:
    """All fish, or one with the source of each figure; a slip is answered with the nearest name."""
    assert "gourami: Gourami, 100 a day for each larva at first, swim up after 4 days" in run(served, "brood", "fish")
    assert "ration: 150 (Int. J. Fish. Aquac.)" in run(served, "brood", "fish", "angelfish")
    assert 'Did you mean "Angelfish"?' in run(served, "brood", "fish", "angelfsh", code=2)
