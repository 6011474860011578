from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]


def imported(file: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and "." in node.value:
            # import_module("monitor.x") and the like; a program's name on a command line is no import
            head = node.value.split(".")[0]
            names |= (
                {head} if head in ("monitor", "simulator") and node.value.replace(".", "_").isidentifier() else set()
            )
    return names


@pytest.mark.parametrize(("package", "other"), [("simulator", "monitor"), ("monitor", "simulator")])
def test_neither_package_imports_the_other(package: str, other: str) -> None:
    """The world that judges the forecast shares no code with it, in either direction."""
    files = sorted((ROOT / package).rglob("*.py"))
    assert files
    assert {str(file.relative_to(ROOT)) for file in files if other in imported(file)} == set()


def test_the_world_is_a_library_without_a_shell() -> None:
    """The world knows no broker, file, clock or command line."""
    outside = {"paho", "click", "logging", "time", "socket", "json", "csv", "pathlib"}
    for file in (ROOT / "simulator" / "world").glob("*.py"):
        assert not imported(file) & outside, file.name
