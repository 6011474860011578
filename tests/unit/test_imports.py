"""What may import what: the core is pure, arrows point inwards, and heavy libraries stay at their edge."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]

# All of the standard library that the core may use: nothing in it reads a clock, a file, a socket or dice.
PURE = {
    "abc",
    "__future__",
    "bisect",
    "collections",
    "dataclasses",
    "datetime",
    "enum",
    "functools",
    "itertools",
    "json",  # text to values and back: what reads and writes files is not used
    "math",
    "operator",
    "statistics",
    "types",
    "typing",
    "zoneinfo",
}
COMPILED = ("exec", "light.py")  # where methods are made
CLOCKS = {"now", "utcnow", "today", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "localtime", "gmtime"}
OUTSIDE = {
    "archive",
    "intake",
    "store",
    "notify",
    "web",
    "cli",
    "service",
    "settings",
    "score",
    "guide",
    "forward",
    "probe",
    "planner",
}
LOADED_BY = """
import importlib, json, sys
for name in json.loads(sys.argv[1]):
    importlib.import_module(name)
print(json.dumps(sorted(sys.modules)))
"""


class Import(NamedTuple):
    where: str
    module: str


def modules(*folders: str) -> list[Path]:
    found = sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))
    assert found
    return found


def package_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1])


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def imports(path: Path) -> tuple[Import, ...]:
    """Every module a file imports, anywhere in it, with what a relative import means; to read a file takes long."""
    return tuple(_imports(path))


def _imports(path: Path) -> Iterator[Import]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(where, alias.name)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package_of(path).split(".")
                base = ".".join([*above[: len(above) - node.level + 1], *([base] if base else [])])
            yield Import(where, base)
            for alias in node.names:  # ``from monitor import store`` imports a package too
                yield Import(where, f"{base}.{alias.name}")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "__import__":
            yield Import(where, "__import__")


def is_in(module: str, package: str) -> bool:
    return module == package or module.startswith(package + ".")


@pytest.mark.parametrize("path", modules("monitor/core"), ids=lambda p: p.stem)
def test_the_core_is_pure(path: Path) -> None:
    """The core imports the harmless part of the standard library, numpy and itself, and nothing else."""
    strangers = [
        found
        for found in imports(path)
        if found.module.partition(".")[0] not in PURE | {"numpy"} and not is_in(found.module, "monitor.core")
    ]
    assert strangers == []


@pytest.mark.parametrize("path", modules("monitor/core"), ids=lambda p: p.stem)
def test_the_core_reads_no_clock_and_opens_nothing(path: Path) -> None:
    """Nothing in the core asks for the time, for dice without a seed, for a file or for input."""
    asked = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.Attribute)
            and node.attr in CLOCKS
            and _last(node.value) in {"datetime", "date", "time"}
        ):
            asked.append(f"line {node.lineno}: .{node.attr}")
        elif isinstance(node, ast.Attribute) and node.attr == "random":
            asked += [] if _seeded(path, node) else [f"line {node.lineno}: .random"]
        elif isinstance(node, ast.ImportFrom | ast.Import):
            asked += [f"line {node.lineno}: {a.name} as {a.asname}" for a in node.names if a.asname not in (None, "np")]
        elif isinstance(node, ast.Name) and node.id in {"open", "input", "print", "eval", "exec"}:
            asked += [] if (node.id, path.name) == COMPILED else [f"line {node.lineno}: {node.id}"]
    assert asked == []


def _last(node: ast.expr) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def _seeded(path: Path, node: ast.Attribute) -> bool:
    """Whether numpy's dice are used as ``np.random.default_rng(<a constant>)`` or ``np.random.PCG64([seed, ...])``.

    What a function gives back may be called a generator.
    """
    for found in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(found, ast.FunctionDef) and isinstance(found.returns, ast.Attribute):
            if found.returns.lineno == node.lineno and found.returns.attr == "Generator":
                return True
        elif isinstance(found, ast.Call) and isinstance(found.func, ast.Attribute) and found.func.lineno == node.lineno:
            if found.func.attr == "default_rng":
                return len(found.args) == 1 and isinstance(found.args[0], ast.Constant)
            if found.func.attr == "PCG64":
                seeds = found.args[0] if len(found.args) == 1 else None
                return (
                    isinstance(seeds, ast.List) and isinstance(seeds.elts[0], ast.Name) and seeds.elts[0].id == "seed"
                )
    return False


def test_the_core_never_imports_an_adapter() -> None:
    """Arrows point inwards: no module of the core names a package outside it."""
    packages = {path.name for path in (ROOT / "monitor").iterdir() if (path / "__init__.py").exists()}
    assert packages <= OUTSIDE | {"core"}, "a new package of monitor: say on which side of the core it stands"
    wrong = [
        found
        for path in modules("monitor/core")
        for found in imports(path)
        if any(is_in(found.module, f"monitor.{adapter}") for adapter in OUTSIDE)
    ]
    assert wrong == []


@pytest.mark.parametrize(("here", "there"), [("monitor", "simulator"), ("simulator", "monitor")])
def test_monitor_and_simulator_do_not_know_each_other(here: str, there: str) -> None:
    """The world that judges the monitor shares no line with it."""
    assert [found for path in modules(here) for found in imports(path) if is_in(found.module, there)] == []


@pytest.mark.parametrize(
    ("library", "home"),
    [
        ("pint", "monitor.settings.units"),
        ("apprise", "monitor.notify.apprise_channel"),
        ("urllib3", "monitor.forward.posting"),
    ],
)
def test_a_heavy_library_has_one_home(library: str, home: str) -> None:
    """Exactly one module of the monitor imports each of them."""
    users = {name_of(path) for path in modules("monitor") for found in imports(path) if is_in(found.module, library)}
    assert users == {home}


def test_only_the_planner_solves_programmes() -> None:
    """scipy is imported by the package that runs in a process of its own, and by nothing else."""
    users = {name_of(path) for path in modules("monitor") for found in imports(path) if is_in(found.module, "scipy")}
    assert users == {"monitor.planner.programme"}


def test_the_service_starts_without_the_heavy_libraries() -> None:
    """Importing all of the service in a fresh process loads none of what the page loads, or is needed only now and then."""
    names = [name_of(path) for path in modules("monitor/service")]
    told = subprocess.run(
        [sys.executable, "-c", LOADED_BY, json.dumps(names)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    loaded = set(json.loads(told.stdout))
    assert "monitor.core.engine" in loaded
    assert (
        loaded
        & {
            "asyncio",
            "argon2",
            "pint",
            "apprise",
            "scipy",
            "urllib3",
            "prometheus_client",
            "starlette",
            "uvicorn",
            "jinja2",
            "h11",
            "monitor.forward.sender",
            "monitor.notify.webpush_channel",
            "monitor.web.app",
            "monitor.web.answers",
            "monitor.web.openapi",
        }
        == set()
    )
