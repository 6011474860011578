"""Counted drops: on their page, with a harvest, in the API and at the command line."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from monitor.cli import swimup
from monitor.core.log import Harvest
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.described import faults
from tests.adapters.web.memory_desk import NOW

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

with_and_without_script = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
ASKED = {"drops": [12, 15, 9], "drop_ml": 0.25, "dilution": 10, "litres": 1.5, "cysts_g": 3, "tin": "tin-7"}
LINK = "/count?drops=12+15+9&drop=0.25+mL&dilution=10&litres=1.5+L&cysts=3+g&tin=tin-7"
SENTENCE = "About 720 000 young brine shrimp in 1.5 L. 8 chances in 10: 571 000 to 900 000."


def told(page: Page) -> str:
    """The answer's sentence, with plain blanks."""
    return page.locator(".counted .todo").inner_text().replace("\N{NO-BREAK SPACE}", " ")


# -- the API


def test_a_program_is_told_each_number_with_its_range_and_unit(served: Served) -> None:
    """What drops tell is as the description says, and nothing is done for it."""
    with served.client() as client:
        answer = client.post("/api/v1/count", json=ASKED)
    assert faults(answer, "/count", "post") == []
    count = answer.json()
    assert count["text"] == SENTENCE
    assert {name: (count[name]["mid"], count[name]["unit"]) for name in ("per_ml", "in_all", "per_g", "hatched")} == {
        "per_ml": (pytest.approx(480), "/mL"),
        "in_all": (pytest.approx(720_000), "1"),
        "per_g": (pytest.approx(240_000), "/g"),
        "hatched": (pytest.approx(1.0), "1"),
    }
    assert (count["cysts_per_g"]["basis"], count["more_drops"]) == ("strain", 2)
    assert served.desk.done == []


@pytest.mark.parametrize(
    "asked",
    [
        {"drops": [12, 15], "drop_ml": 0.05},
        {"total": 36, "number": 3, "drop_ml": 0.05, "litres": 2},
        {"drops": [0, 0], "drop_ml": 0.05, "litres": 2, "cysts_g": 1},
        {"drops": [2, 80], "drop_ml": 0.05, "litres": 2, "cysts_g": 1, "cysts_per_g": 280_000},
    ],
)
def test_what_cannot_be_reckoned_is_null_and_described(served: Served, asked: dict[str, Any]) -> None:
    """With less told there is less in the answer, in the same shape."""
    with served.client() as client:
        answer = client.post("/api/v1/count", json=asked)
    assert answer.status_code == 200
    assert faults(answer, "/count", "post") == []
    assert (answer.json()["in_all"] is None) == ("litres" not in asked)
    assert (answer.json()["scatter"] is None) == (asked.get("drops") in (None, [0, 0]))


@pytest.mark.parametrize(
    ("changes", "pointer", "detail"),
    [
        ({"drops": []}, "#/drops", "count 1 to 60"),
        ({"drops": None}, "#/drops", "the total and the number"),
        ({"total": 3}, "#/drops", "the total and the number"),
        ({"drops": [12, 3000]}, "#/drops", "dilute"),
        ({"drop_ml": 0}, "#/drop_ml", "0.001 to 100 mL"),
        ({"dilution": 0.1}, "#/dilution", "filled up to 100 mL is 10"),
        ({"cysts_per_g": 12}, "#/cysts_per_g", "usual are"),
        ({"litres": "much"}, "#/litres", "number"),
        ({"colour": "red"}, "#/colour", "not permitted"),
    ],
)
def test_nonsense_is_answered_with_a_problem_that_names_its_place(
    served: Served, changes: dict[str, Any], pointer: str, detail: str
) -> None:
    """422 with what was found and what is allowed."""
    with served.client() as client:
        answer = client.post("/api/v1/count", json={**ASKED, **changes})
    assert answer.status_code == 422
    assert faults(answer, "/count", "post") == []
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert detail in fault["detail"]


# -- the command line


@pytest.fixture
def run(served: Served, tmp_path: Path) -> Callable[..., Any]:
    config = tmp_path / "swimup.toml"
    config.write_text(CONFIG.format(state=tmp_path / "state", port=served.server.port))

    def call(*words: str) -> Any:
        return CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, ["count", *words])

    return call


def test_the_command_prints_a_short_table_in_words(run: Callable[..., Any]) -> None:
    """Sentence, table, what to know; nothing else."""
    result = run(
        "--drops",
        "12,15,9",
        "--drop",
        "0.25 ml",
        "--dilution",
        "10",
        "--litres",
        "1.5",
        "--cysts",
        "3 g",
        "--tin",
        "tin-7",
    )
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert lines[:8] == [
        SENTENCE,
        "Counted 36 in 3 drops of 0.25 mL, diluted 10 times.",
        "",
        "                        likely  8 chances in 10",
        "In 1 mL of the vessel      480  381 to 600",
        "In all of it, 1.5 L    720 000  571 000 to 900 000",
        "From 1 g of cysts      240 000  190 000 to 300 000",
        "Hatched, of all cysts    100 %  71 % to 140 %",
    ]
    assert lines[8:10] == ["", "About 2 drops more like these would bring it to within 20 %."]
    assert "240 000 cysts in a gram, as its strain may have (one lot of Great Salt Lake, from memory)" in lines[10]
    assert len(lines) == 11


def test_the_command_takes_a_total_and_speaks_to_programs(run: Callable[..., Any]) -> None:
    """What a program is told is what the API answers."""
    told = json.loads(run("--drops", "36 in 3", "--json").output)
    assert (told["counted"], told["drops"], told["drop_ml"], told["in_all"]) == (36, 3, 0.05, None)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["--drops", "a few"], 2, "12 15 9"),
        (["--drops", "12", "--drop", "1 g"], 2, "0.05 mL"),
        (["--drops", "12", "--dilution", "1:10"], 2, "how many times"),
        (["--drops", "3000"], 1, "dilute the sample"),
        ([], 2, "--drops"),
    ],
)
def test_slips_at_the_command_line_end_with_their_exit_code(
    run: Callable[..., Any], words: list[str], code: int, told: str
) -> None:
    """2 is the call, 1 is the service saying no; both say what would be allowed."""
    result = run(*words)
    assert result.exit_code == code
    assert told in " ".join(result.output.split())


# -- the page


@pytest.mark.browser
@with_and_without_script
def test_drops_are_reckoned_on_a_page_that_can_be_linked(served: Served, open_page: OpenPage, script: bool) -> None:
    """Filled in from a batch, sent, answered; the same address gives the same answer, and the drop is remembered."""
    page = open_page(served, "/count", java_script_enabled=script)
    expect(page.get_by_label("One drop")).to_have_value("0.05 mL")
    page.get_by_role("link", name="birch-2026-03-01").click()
    expect(page.get_by_label("Water in the vessel")).to_have_value("2 L")
    expect(page.get_by_label("Cysts that were put in")).to_have_value("3 g")
    page.get_by_label("Counted in each drop").fill("40, 31, 38")
    page.get_by_label("One drop").fill("0,1")
    page.get_by_role("button", name="Reckon").click()
    first = told(page)
    assert first.startswith("About 727 000 young brine shrimp in 2 L.")
    expect(page.locator(".counted tbody tr")).to_have_count(4)
    expect(page.locator(".counted svg desc")).to_have_text(re.compile("^From 6.* most likely 727 000"))
    page.goto(page.url)
    assert told(page) == first
    page.goto(served.url + "/count")
    expect(page.get_by_label("One drop")).to_have_value("0.1 mL")
    assert served.desk.done == []


@pytest.mark.browser
def test_a_slip_on_the_page_is_told_and_loses_nothing(served: Served, open_page: OpenPage) -> None:
    """What was typed stays; nothing counted is asked for; a page in a narrow window is not wider than it."""
    page = open_page(served, LINK.replace("12+15+9", "12+x"), viewport={"width": 320, "height": 700})
    expect(page.get_by_role("alert")).to_contain_text('"12 x" is not understood')
    expect(page.get_by_label("Counted in each drop")).to_have_value("12 x")
    expect(page.locator("[name=tin]")).to_have_value("tin-7")
    page.get_by_label("Counted in each drop").fill("")
    page.get_by_role("button", name="Reckon").click()
    expect(page.get_by_role("alert")).to_contain_text("one number for each drop")
    page.goto(served.url + LINK)
    assert told(page) == SENTENCE
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_what_is_typed_is_text_and_never_more(served: Served) -> None:
    """Markup in a query comes back as its letters, also very long."""
    with served.client(token=False) as client:
        page = client.get("/count", params={"drops": "<b>1" * 500, "tin": '"><script>alert(1)</script>'})
    assert page.status_code == 422
    assert "<script>alert" not in page.text
    assert "<b>" not in page.text
    assert len(page.text) < 12_000


# -- with a harvest


@pytest.mark.browser
@with_and_without_script
def test_a_harvest_with_counted_drops(served: Served, open_page: OpenPage, script: bool) -> None:
    """Reckoned first, which ends nothing, then harvested with what the drops tell."""
    page = open_page(served, "/batches/ash-2026-03-01", java_script_enabled=script)
    page.locator("summary", has_text="Counted drops?").click()
    page.get_by_label("Counted in each drop").fill("12 15 9")
    page.get_by_label("One drop").fill("0.25 ml")
    page.get_by_label("Diluted").fill("10")
    page.get_by_role("button", name="Reckon only").click()
    assert told(page) == SENTENCE
    assert served.desk.done == []
    expect(page.get_by_label("Diluted")).to_have_value("10")
    assert page.url.endswith("/harvest#harvest-answer")
    page.get_by_role("button", name="Harvested: end this batch").click()
    expect(page.locator(".flash")).to_have_text(f"Noted: ash-2026-03-01 is harvested. {SENTENCE}")
    expect(page.locator("#vessel-0 .stage")).to_have_text("empty")
    assert served.desk.done == [Harvest(NOW, NOW, "ash-2026-03-01", None, 720_000.0)]


def harvest(served: Served, batch: str = "ash-2026-03-01", **given: str) -> tuple[int, str]:
    """What a form of the batch's page is answered."""
    with served.client(token=False, follow_redirects=True) as client:
        token = re.search('name="csrf" value="([^"]+)"', client.get("/batches/ash-2026-03-01").text)
        assert token is not None
        answer = client.post(f"/batches/{batch}/harvest", data={"csrf": token[1], "page": "batch", **given})
        return answer.status_code, answer.text


GOOD = {"drops": "30 41 38", "drop": "0.25 mL", "dilution": "2", "cysts_per_g": "250 000"}


@pytest.mark.parametrize(
    ("given", "share", "number"),
    [
        (GOOD, pytest.approx(109 / 0.75 * 2 * 750 / 250_000), 436_000.0),
        ({**GOOD, "fraction": "70 %"}, pytest.approx(0.7), 436_000.0),
        ({**GOOD, "cysts_per_g": ""}, None, 436_000.0),
        ({**GOOD, "drops": "", "nauplii": "180000"}, None, 180_000.0),
        ({**GOOD, "drops": "0 0"}, None, 0.0),
    ],
    ids=["share teaches", "typed share stands", "usual cysts teach nothing", "no drops", "none swam"],
)
def test_what_a_count_knows_is_logged_and_no_more(
    served: Served, given: dict[str, str], share: float | None, number: float
) -> None:
    """The number always, the share only where it is known, and what was typed before what was reckoned."""
    status, _ = harvest(served, **given)
    assert status == 200
    (command,) = served.desk.done
    assert command == Harvest(NOW, NOW, "ash-2026-03-01", share, number)


def test_a_tin_whose_cysts_were_counted_learns_without_a_word(served: Served) -> None:
    """What the configuration has of the tin need not be typed with each harvest, and the share that is logged is told."""
    served.desk.publish(lambda bench: bench["lots"][0].update(cysts_per_g=250_000.0))
    _, page = harvest(served, **{**GOOD, "cysts_per_g": ""})
    (command,) = served.desk.done
    assert isinstance(command, Harvest)
    assert command.hatched_fraction == pytest.approx(0.872)
    assert "Hatched: 87 %, which the tin learns from." in page


@pytest.mark.parametrize(
    ("batch", "given", "told"),
    [
        ("ash-2026-03-01", {**GOOD, "drops": "12 x"}, "is not understood"),
        ("ash-2026-03-01", {**GOOD, "drop": "2 L"}, "up to 100 mL"),
        ("ash-2026-03-01", {**GOOD, "nauplii": "200000"}, "not both"),
        ("ash-2026-03-01", {"do": "reckon"}, "say what you counted"),
        ("oak-2026-01-01", GOOD, "its water is not known here"),
    ],
)
def test_a_harvest_is_not_ended_by_a_slip_in_the_drops(
    served: Served, batch: str, given: dict[str, str], told: str
) -> None:
    """The page says what is wrong, and the batch goes on."""
    status, page = harvest(served, batch, **given)
    assert status == 422
    assert told in page
    assert served.desk.done == []
