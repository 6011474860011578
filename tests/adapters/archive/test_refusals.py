from __future__ import annotations

import json
import shutil
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from monitor.archive import ArchiveProblem, Choice, bring_back, write_out
from monitor.core.model import Reading
from monitor.store import Store, StoreInUse
from monitor.store.errors import StoreError
from tests.adapters.archive.filled import T0, files, fill

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.archive.manifest import Form


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with everything, and its archives by the name of their form; not to be changed."""
    place = tmp_path_factory.mktemp("originals")
    with Store.open(place / "first.sqlite3", now=T0) as store:
        fill(store)
    for form in ("csv", "jsonl"):
        write_out(place / "first.sqlite3", place / form, Choice(form=form))
    return place


@pytest.fixture
def archive(originals: Path, tmp_path: Path) -> Callable[..., Path]:
    """A folder with everything, of one's own: ``archive(form)``."""

    def make(form: Form = "csv") -> Path:
        return Path(shutil.copytree(originals / form, tmp_path / "one"))

    return make


def change(folder: Path, name: str, old: str, new: str, *, signed: bool = True) -> None:
    """Change the first such text in a file; ``signed``: whoever did it has renewed the manifest."""
    path = folder / name
    text = path.read_bytes().decode()
    assert old in text, name
    path.write_bytes(text.replace(old, new, 1).encode())
    if signed:
        sign(folder, name)


def sign(folder: Path, name: str) -> None:
    content = (folder / name).read_bytes()
    manifest = read(folder)
    for note in manifest["files"]:
        if note["name"] == name:
            note["sha256"] = sha256(content).hexdigest()
    (folder / "manifest.json").write_text(json.dumps(manifest))


def read(folder: Path) -> dict[str, Any]:
    manifest: dict[str, Any] = json.loads((folder / "manifest.json").read_text())
    return manifest


def refused(folder: Path, kind: type[Exception] = ArchiveProblem) -> str:
    """What is said when the folder is not taken back, and that nothing is left of the try."""
    place = folder.parent / "new"
    with pytest.raises(kind) as problem:
        bring_back(folder, place / "second.sqlite3")
    assert not place.exists() or [path.name for path in place.iterdir()] in ([], ["second.sqlite3.lock"])
    return str(problem.value)


MONTH = "readings/2026-02"


@pytest.mark.parametrize(
    ("name", "old", "new", "line", "found"),
    [
        (f"{MONTH}.csv", "24.001,ok", "24.001,fine", 2, "quality 'fine'; allowed are ok, suspect"),
        ("slots.csv", "2026-02-03T0", "2026-02-32T0", 2, "a day that does not exist"),
        ("slots.csv", "2026-02-03T0", "2026-02-03 0", 2, "a time is written as"),
        ("slots.csv", ",30,", ",many,", 2, "'many' where a whole number is expected"),
        ("slots.csv", ",30,", ",9223372036854775808,", 2, "more than a store can hold"),
        ("slots.csv", "ash-water", "oak-water", 2, "probe 'oak-water', which the manifest does not list"),
        ("slots.csv", "time,probe", "when,probe", 1, "the columns are time,probe,count,sum"),
        ("rollups/day.csv", "ash-water,", "ash-water,,", 2, "the columns are probe,time,count"),
        ("log.jsonl", '"event": "seen"', '"event": "sung"', 2, "event 'sung'; allowed are start, seen"),
        ("log.jsonl", '"what": "some"', '"what": "plenty"', 2, "'plenty' is not a valid Sight"),
        ("log.jsonl", '"vessel"', '"jar"', 1, "jar"),
        ("log.jsonl", '"cysts_g": 2', '"cysts_g": "two"', 1, "cysts_g 'two', which it cannot be"),
        ("log.jsonl", '"cysts_g": 2', '"cysts_g": NaN', 1, "cysts_g 'nan', which it cannot be"),
        ("log.jsonl", '"batch": "one"', '"batch": null', 1, "batch 'None', which it cannot be"),
        ("told.jsonl", "{", "[" * 3000, 1, "nested too deep"),
        ("told.jsonl", "{", "[{", 1, "Expecting"),
        ("told.jsonl", '"stage"', '"page"', 1, "found no 'stage'"),
        ("transitions.jsonl", '"priority": "high"', '"priority": "shrill"', 1, "'shrill' is not a valid Priority"),
        ("kept.jsonl", "lot/tin-7", "phones/site", 1, "'phones/site', which no archive holds"),
        ("unreadable.jsonl", '"base64": "', '"base64": "*', 1, "base64 that can't be read"),
    ],
)
@pytest.mark.parametrize("signed", [True, False])
def test_a_damaged_line_is_named(
    archive: Callable[..., Path], name: str, old: str, new: str, line: int, found: str, signed: bool
) -> None:
    """A line that cannot be read is told with its file, its number and what was found, whether or not the sums were renewed."""
    folder = archive()
    if name.startswith("readings"):
        lines = (folder / name).read_text().splitlines()
        line = next(number for number, text in enumerate(lines, 1) if old in text)
    change(folder, name, old, new, signed=signed)
    told = refused(folder)
    assert told.startswith(f"{folder / name}, line {line}: found ")
    assert found in told


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('"n": 0', '"n": 0, "colour": "red"', "the fields are time, probe, value"),
        ('"n": 0', '"n": null', "the fields are time, probe, value"),
        ('"time": "2026-', '"time": "2126-', "allowed is until the year 2109"),
        ('"n": 0', '"n": -1', "n -1; allowed is 0 to 255"),
        ('"value": 24.', '"value": 24.0', "a value is written with three places"),
        ('"own_time": "no"', '"own_time": "maybe"', "allowed are yes and no"),
    ],
)
def test_a_damaged_line_of_json_is_named(archive: Callable[..., Path], old: str, new: str, found: str) -> None:
    """So it is in JSON lines."""
    folder = archive("jsonl")
    change(folder, f"{MONTH}.jsonl", old, new)
    told = refused(folder)
    assert told.startswith(f"{folder / MONTH}.jsonl, line ")
    assert found in told


def test_a_changed_value_is_found(archive: Callable[..., Path]) -> None:
    """A file that can still be read but is not what was written is not taken."""
    folder = archive()
    change(folder, f"{MONTH}.csv", ",24.001,", ",24.002,", signed=False)
    told = refused(folder)
    assert "2026-02.csv is not as it was written: its SHA-256 is" in told


def test_a_lost_or_doubled_row_is_found(archive: Callable[..., Path]) -> None:
    """A row less or a row twice is told, even when the sums were renewed."""
    folder = archive()
    lines = (folder / "slots.csv").read_text().splitlines(keepends=True)
    (folder / "slots.csv").write_text("".join(lines[:-1]))
    sign(folder, "slots.csv")
    assert "slots.csv has 19 rows, 20 are in manifest.json" in refused(folder)
    (folder / "slots.csv").write_text("".join([*lines[:-1], lines[-2]]))
    sign(folder, "slots.csv")
    assert "slots.csv: one of the rows 1 to 20 is there twice" in refused(folder)


def _without_log(manifest: dict[str, Any]) -> None:
    manifest["files"] = [note for note in manifest["files"] if note["name"] != "log.jsonl"]


def _escaping(manifest: dict[str, Any]) -> None:
    manifest["files"][0]["name"] = "../first.sqlite3"


@pytest.mark.parametrize(
    ("spoil", "found"),
    [
        (lambda manifest: manifest.update(version=2), "this program knows versions up to 1. Install"),
        (lambda manifest: manifest.update(version="1"), "found version '1'"),
        (lambda manifest: manifest.update(store_schema=99), "schema 99; this program knows 3 to"),
        (lambda manifest: manifest.update(store_schema=2), "schema 2; this program knows 3 to"),
        (lambda manifest: manifest.update(format="another"), "this is no archive of swimup"),
        (lambda manifest: manifest.update(complete=False), "Only an archive of everything can be taken back"),
        (lambda manifest: manifest.update(begun="long ago"), "found time 'long ago'"),
        (
            lambda manifest: manifest.update(cleared_before={"hour": "2026-02-02T00:00:00Z"}),
            "cleared_before has 'hour'",
        ),
        (lambda manifest: manifest["probes"].append("ash-water"), "probes are listed twice"),
        (lambda manifest: manifest["files"].append(manifest["files"][0]), "which no archive has, or has once"),
        (lambda manifest: manifest.pop("probes"), "probes: Field required"),
        (_without_log, "log.jsonl is not listed"),
        (_escaping, "is no name of a file in an archive"),
    ],
)
def test_a_manifest_that_is_not_ours_is_refused(
    archive: Callable[..., Path], spoil: Callable[[dict[str, Any]], object], found: str
) -> None:
    """A newer format, an unknown schema, a part, a name that leads elsewhere: each is told in words, and nothing is made."""
    folder = archive()
    manifest = read(folder)
    spoil(manifest)
    (folder / "manifest.json").write_text(json.dumps(manifest))
    told = refused(folder)
    assert told.startswith(str(folder))
    assert found in told


def test_a_file_that_is_missing_or_a_link_is_refused(archive: Callable[..., Path]) -> None:
    """Every file that is listed must lie in the folder itself."""
    folder = archive()
    (folder / "told.jsonl").rename(folder.parent / "told.jsonl")
    assert f"{folder / 'told.jsonl'} is missing" in refused(folder)
    (folder / "told.jsonl").symlink_to(folder.parent / "told.jsonl")
    assert f"{folder / 'told.jsonl'} is missing" in refused(folder)
    (folder / "manifest.json").unlink()
    assert "has no manifest.json: it is no archive, or its export was not finished" in refused(folder)


def test_a_store_with_history_is_left_alone(archive: Callable[..., Path]) -> None:
    """A store that is not empty stays as it is, whatever is in it."""
    folder = archive()
    path = folder.parent / "second.sqlite3"
    with Store.open(path) as store:
        store.add(Reading("ash-water", T0, 24_000, arrived=T0))
        store.commit()
    before = path.read_bytes()
    with pytest.raises(ArchiveProblem, match="the store is not empty: it has rows in reading"):
        bring_back(folder, path)
    assert path.read_bytes() == before


def test_a_store_in_use_is_left_alone(archive: Callable[..., Path]) -> None:
    """While a process holds the store, even an empty one, nothing is taken back."""
    folder = archive()
    path = folder.parent / "second.sqlite3"
    with Store.open(path), pytest.raises(StoreInUse, match="another process holds this store"):
        bring_back(folder, path)


def test_another_programs_database_is_left_alone(archive: Callable[..., Path]) -> None:
    """A file that is no store of ours is never replaced."""
    folder = archive()
    path = folder.parent / "second.sqlite3"
    path.write_bytes(b"not a database at all, but somebody's file" * 100)
    with pytest.raises(StoreError, match="no database"):
        bring_back(folder, path)
    assert path.read_bytes().startswith(b"not a database")


def test_export_takes_a_new_folder_only(originals: Path, archive: Callable[..., Path]) -> None:
    """What is there already is never written over; an empty folder will do."""
    folder = archive()
    before = files(folder)
    first = originals / "first.sqlite3"
    with pytest.raises(ArchiveProblem, match="is there already"):
        write_out(first, folder, Choice())
    assert files(folder) == before
    (folder.parent / "empty").mkdir()
    write_out(first, folder.parent / "empty", Choice())
    assert files(folder.parent / "empty") == before
    with pytest.raises(ArchiveProblem, match="in the store; known are"):
        write_out(first, folder.parent / "two", Choice(probes=("oak",)))
    with pytest.raises(StoreError, match="there is no store"):
        write_out(folder.parent / "none.sqlite3", folder.parent / "two", Choice())
    assert not (folder.parent / "two").exists()
