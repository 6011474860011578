"""Salt: on its page, in the API and at the command line."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from monitor.cli import swimup
from tests.adapters.web.described import faults

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

NEW = "37.9 g of plain salt, filled up with plain water to 1.5 L, give 25 g/L."


def told(page: Page) -> str:
    """The answer's sentence, with plain blanks."""
    return page.locator(".counted .todo").inner_text().replace("\N{NO-BREAK SPACE}", " ")


# -- the API


@pytest.mark.parametrize(
    "asked",
    [
        {"target_g_l": 25, "litres": 1.5},
        {"target_g_kg": 25, "kind": "sea"},
        {"measured_by": "hydrometer", "shown": 1.0185, "water_c": 25, "reference_c": [15.56, 15.56], "kind": "sea"},
        {"measured_by": "conductivity", "shown": 45, "target_g_l": 15, "litres": 2, "lost_l": 0.1, "tap_g_l": 0.4},
    ],
)
def test_a_program_is_answered_as_the_description_says(served: Served, asked: dict[str, Any]) -> None:
    """What was not asked for is null; nothing is done."""
    with served.client() as client:
        answer = client.post("/api/v1/salt", json=asked)
    assert answer.status_code == 200
    assert faults(answer, "/salt", "post") == []
    salt = answer.json()
    assert (salt["target"] is None) == ("target_g_l" not in asked and "target_g_kg" not in asked)
    assert (salt["found"] is None) == ("shown" not in asked)
    assert (salt["recipe"] is None) == ("litres" not in asked)
    assert served.desk.done == []


def test_a_program_is_told_numbers(served: Served) -> None:
    """Grams, spoons, both salinities, and what the hatch makes of it."""
    with served.client() as client:
        salt = client.post("/api/v1/salt", json={"target_g_l": 35, "litres": 2, "share": 1, "spoon_g": 7}).json()
    assert (salt["recipe"]["grams"], salt["recipe"]["spoons"]) == (pytest.approx(70), pytest.approx(10))
    assert salt["target"] == {"g_l": 35, "g_kg": pytest.approx(34.28, abs=0.01)}
    assert salt["slower"] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("asked", "pointer", "detail"),
    [
        ({}, "#/target_g_l", "which salinity"),
        ({"target_g_l": 500}, "#/target_g_l", "allowed is 0 to"),
        ({"target_g_l": 25, "target_g_kg": 25}, "#/target_g_kg", "not both"),
        ({"target_g_kg": 99}, "#/target_g_kg", "0 to 60"),
        ({"target_g_l": 25, "litres": 1, "lost_l": 0.1}, "#/lost_l", "what the water has now"),
        ({"measured_by": "hydrometer", "shown": 1.0185, "lost_l": 0.1}, "#/lost_l", "what you want"),
        ({"measured_by": "hydrometer"}, "#/shown", "what it shows"),
        ({"target_g_kg": 25, "water_c": 1e300}, "#/water_c", "0 to 40 C"),
        ({"shown": 1.02}, "#/measured_by", "which instrument"),
        ({"shown": 3, "measured_by": "hydrometer"}, "#/shown", "can't show 3"),
        ({"target_g_l": 25, "colour": "red"}, "#/colour", "not permitted"),
    ],
)
def test_nonsense_is_answered_with_a_problem_that_names_its_place(
    served: Served, asked: dict[str, Any], pointer: str, detail: str
) -> None:
    """422 with what was found and what is allowed."""
    with served.client() as client:
        answer = client.post("/api/v1/salt", json=asked)
    assert answer.status_code == 422
    assert faults(answer, "/salt", "post") == []
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert detail in fault["detail"]


# -- the command line


def run(*words: str) -> Any:
    return CliRunner().invoke(swimup, ["salt", *words])


def test_the_command_needs_nobody_to_answer() -> None:
    """Sentence, table, what to know; no daemon and no configuration."""
    result = run("--target", "25 g/L", "--litres", "1.5")
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert lines[:5] == [
        NEW,
        "",
        "Plain salt, as weighed                     37.9 g",
        "Level spoons of 6 g                        6¼",
        "Or sea salt                                40.3 g",
    ]
    assert lines[5] == "Wanted                                     25 g/L, 24.6 g/kg (ppt)"


def test_the_command_reads_a_hydrometer() -> None:
    """With what it is made for, and for programs as the API answers."""
    words = ["--kind", "sea", "--hydrometer", "1.0185", "--at", "77 F", "--reference", "60/60 F"]
    assert run(*words).output.startswith("The water has 27.5 g/L of salt (26.8 g/L to 28.2 g/L).")
    found = json.loads(run(*words, "--json").output)["found"]
    assert found["g_kg"]["mid"] == pytest.approx(27.1, abs=0.05)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "which salinity"),
        (["--target", "lots"], "25 ppt"),
        (["--refractometer", "1.025"], "specific gravity"),
        (["--hydrometer", "1.02", "--known", "25"], "Give one of"),
        (["--hydrometer", "1.3"], "can't show 1.3"),
        (["--kind", "pepper"], "plain"),
    ],
)
def test_slips_at_the_command_line_end_with_exit_code_two(words: list[str], told: str) -> None:
    """What would be allowed is said."""
    result = run(*words)
    assert result.exit_code == 2
    assert told in " ".join(result.output.split())


# -- the page


@pytest.mark.browser
@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_salt_is_reckoned_on_a_page_that_can_be_linked(served: Served, open_page: OpenPage, script: bool) -> None:
    """Typed, sent, answered; the same address gives the same answer; the keeper's spoon is remembered, also for a batch."""
    page = open_page(served, "/salt", java_script_enabled=script, viewport={"width": 320, "height": 700})
    expect(page.get_by_label("Wanted")).to_have_value("25 g/L")  # the usual; only the litres are left to say
    page.get_by_label("Water", exact=False).first.fill("1.5 L")
    page.locator("summary", has_text="Temperature, spoon").click()
    page.get_by_label("Level spoon").fill("7 g")
    page.get_by_role("button", name="Reckon").click()
    assert told(page) == NEW
    expect(page.locator(".counted tbody tr").nth(1)).to_contain_text("Level spoons of 7 g")
    page.goto(page.url)
    assert told(page) == NEW
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.goto(served.url + "/salt")
    expect(page.locator("[name=spoon]")).to_have_value("7 g")
    page.get_by_role("link", name="birch-2026-03-01").click()
    assert told(page).endswith("filled up with plain water to 2 L, give 25 g/L.")
    expect(page.locator(".counted tbody tr").nth(1)).to_contain_text("Level spoons of 7 g")
    assert served.desk.done == []


def test_a_slip_on_the_page_is_told_and_loses_nothing(served: Served) -> None:
    """What was typed stays, as text and never more; nothing asked for is asked."""
    with served.client(token=False) as client:
        slip = client.get("/salt", params={"target": "<b>lots", "litres": "1.5 L"})
        nothing = client.get("/salt", params={"target": ""})
        measured = client.get("/salt", params={"shown": "1.0185", "by": "hydrometer"})
    assert (slip.status_code, nothing.status_code) == (422, 422)
    assert "&lt;b&gt;lots" in slip.text
    assert "<b>" not in slip.text
    assert 'value="1.5 L"' in slip.text
    assert "Say which salinity you want" in nothing.text
    assert 'name="target" value=""' in measured.text  # who asks what he has does not find what he never wanted
