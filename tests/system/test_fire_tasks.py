from __future__ import annotations

import ast
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.system.fire import tasks
from tests.system.fire.suite import must_keep

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.system.fire.fault import Fault

pytestmark = [pytest.mark.system, pytest.mark.broker]

MONITOR = Path(__file__).parents[2] / "monitor"
ELSEWHERE = ("cli", "probe", "score")
"""Other processes than the service's."""


def names_in(source: str) -> Iterator[str]:
    """What the threads are called that are made there; of a name that is put together, how it begins; "" without one."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("Thread"):
            given = next((one.value for one in node.keywords if one.arg == "name"), None)
            first = given.values[0] if isinstance(given, ast.JoinedStr) else given
            yield str(first.value) if isinstance(first, ast.Constant) else ""


@pytest.mark.parametrize("fault", tasks.FAULTS, ids=str)
def test_what_is_promised_is_kept(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Whatever happens, the promise that stands beside the fault holds."""
    must_keep(fault, request)


def test_each_thread_that_is_made_is_tried() -> None:
    """A thread that runs only where it is configured has a name by which its end is tried all the same."""
    files = [file for file in MONITOR.rglob("*.py") if file.relative_to(MONITOR).parts[0] not in ELSEWHERE]
    texts = [text for text in (file.read_text(encoding="utf-8") for file in files) if "Thread(" in text]
    made = {name for text in texts for name in names_in(text)}
    assert {"web", "food", "notify-"} <= made
    assert [
        name for name in made if not name or not any(one.startswith(name) for one in (*tasks.TRIED, *tasks.PIECES))
    ] == []
