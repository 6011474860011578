"""What was scored, as Markdown for people and as JSON for everything else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.score.baselines import BASELINES
from monitor.score.cells import SEASONS, Cell, Where, number
from monitor.score.rows import AGED, COUNTED, FIRST
from monitor.score.table import FLOOR, MODEL

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Sequence

    from monitor.score.cells import Figure
    from monitor.score.limits import Found, Verdict
    from monitor.score.rows import LostRow
    from monitor.score.run import Result
    from monitor.score.stops import StopRow

FORMAT = 1
NOTHING = "–"


def table(header: Sequence[str], rows: Iterable[Sequence[str]], words: Container[str] = ()) -> list[str]:
    """Lines of a Markdown table; all but the first column and those of ``words`` are numbers."""
    align = ["---", *("---" if name in words else "---:" for name in header[1:])]
    return [f"| {' | '.join(cells)} |" for cells in (header, align, *rows)]


def markdown(result: Result, source: str) -> str:
    """The whole report; ``source`` says what was scored."""
    lines = [
        f"Scored: {source}. {result.batches} batches of {result.tins} tins, {len(result.table)} forecasts of T90; hours.",
        "In brackets the standard error, by a bootstrap over tins.",
        "",
        *_by_age(result, "new", "New tins"),
        *_by_age(result, "known", "Known tins (five batches learned)"),
        *_by_season(result),
        *_looks(result),
        *_apart(result.lost, result.stops),
        *_verdicts(result.verdicts, result.widen),
    ]
    return "\n".join(lines).rstrip() + "\n"


def best_rule(cell: Cell) -> str:
    """The rule with the least mean absolute error in a cell."""
    return min(BASELINES, key=lambda name: cell.scores[name]["mae"].value)


def _by_age(result: Result, group: str, title: str) -> list[str]:
    header = (
        "age", "n", "error (MAE)", "floor", "best rule", "bias", "in 80 % range", "its width",
        "interval score", "floor", "CRPS", "floor",
    )  # fmt: skip
    rows = []
    for point in AGED:
        cell = result.cells.get(Where(point, group))
        if cell is None:
            continue
        own = cell.scores[MODEL]
        floor = cell.scores.get(FLOOR)
        rule = best_rule(cell)

        def of_floor(metric: str, floor: dict[str, Figure] | None = floor) -> str:
            return NOTHING if floor is None else f"{floor[metric].value:.2f}"

        rows.append(
            (
                point,
                str(cell.n),
                _with_error(own["mae"]),
                of_floor("mae"),
                f"{cell.scores[rule]['mae'].value:.2f} {rule}",
                f"{own['bias'].value:+.2f}",
                _percent(own["coverage"]),
                f"{own['width'].value:.1f}",
                _with_error(own["interval"]),
                of_floor("interval"),
                _with_error(own["crps"]),
                of_floor("crps"),
            )
        )
    return [f"### {title}", "", *table(header, rows), ""] if rows else []


def _with_error(figure: Figure) -> str:
    return f"{figure.value:.2f} ({figure.se:.2f})" if np.isfinite(figure.se) else f"{figure.value:.2f}"


def _percent(figure: Figure) -> str:
    error = f" ({100 * figure.se:.0f})" if np.isfinite(figure.se) else ""
    return f"{100 * figure.value:.0f} %{error}"


def _by_season(result: Result) -> list[str]:
    rows = []
    for group in ("new", "known"):
        for season in SEASONS[1:]:
            found = [result.cells.get(Where(point, group, season=season)) for point in AGED]
            if any(found):
                shares = (NOTHING if c is None else f"{100 * c.scores[MODEL]['coverage'].value:.0f} %" for c in found)
                rows.append((f"{group}, {season}", *shares))
    return ["### Truths inside the 80 % range, by season and age", "", *table(("tin, season", *AGED), rows), ""]


def _looks(result: Result) -> list[str]:
    rows = []
    for point in (FIRST, COUNTED):
        for group in ("new", "known"):
            cell = result.cells.get(Where(point, group))
            if cell is not None:
                own, rule = cell.scores[MODEL], best_rule(cell)
                ratio = cell.against[rule].ratio["mae"]
                rows.append(
                    (
                        f"{point}, {group}",
                        str(cell.n),
                        _with_error(own["mae"]),
                        f"{cell.scores[rule]['mae'].value:.2f} {rule}",
                        _with_error(ratio),
                        _percent(own["coverage"]),
                    )
                )
    header = ("just logged, tin", "n", "error (MAE)", "best rule, same log", "ratio", "in 80 % range")
    return ["### Right after a look", "", *table(header, rows), ""] if rows else []


def _apart(lost: Sequence[LostRow], stops: Sequence[StopRow]) -> list[str]:
    lines = []
    if lost:
        rows = []
        for point in AGED:
            at = [row for row in lost if row.point == point]
            if at:
                never = float(np.mean([row.never for row in at]))
                rows.append((point, str(len(at)), f"{100 * never:.0f} %", str(sum(row.told for row in at))))
        lines += ["### Batches of which none hatched", ""]
        lines += [*table(("age", "n", "mean weight of never", "told as lost"), rows), ""]
    if stops:
        known = [stop for stop in stops if stop.truth is not None]
        late = sum(stop.too_late for stop in known)
        text = (
            f"Air stops: {len(stops)}; minutes left inside the 80 % range in {_share(sum(s.inside for s in stops), len(stops))}. "
            f"Of the {len(known)} in which the oxygen would not have lasted a day the low end was more than 30 % too late in "
            f"{_share(late, len(known))}."
        )
        lines += [text, ""]
    return lines


def _share(some: int, of: int) -> str:
    return f"{100 * some / of:.0f} %" if of else NOTHING


WORDS: Final = {True: "holds", False: "**broken**", None: "too few"}


def _verdicts(verdicts: Sequence[Verdict], widen: float) -> list[str]:
    rows = []
    for verdict in verdicts:
        worst = verdict.worst
        cells = f"{sum(one.holds for one in verdict.judged)} of {len(verdict.judged)}"
        value, allowed, where = NOTHING, NOTHING, NOTHING
        if worst is not None:
            value = f"{worst.figure.value:.3g} ({worst.figure.se:.2g})"
            allowed, where = bounds(worst), worst.where
        rows.append((verdict.name, verdict.promise, WORDS[verdict.passed], cells, value, allowed, where))
    wider = f", widened by {widen:g} standard errors" if widen else ""
    header = ("limit", "promise", "verdict", "cells that hold", "tightest", f"allowed{wider}", "where")
    return ["### Limits", "", *table(header, rows, words=header), ""]


def bounds(found: Found) -> str:
    """What was allowed, in words."""
    if not np.isfinite(found.low):
        return f"at most {found.high:.3g}"
    return f"at least {found.low:.3g}" if not np.isfinite(found.high) else f"{found.low:.3g} to {found.high:.3g}"


def document(result: Result, source: str) -> dict[str, Any]:
    """Everything, for JSON."""
    known = [stop for stop in result.stops if stop.truth is not None]
    return {
        "format": FORMAT,
        "source": source,
        "tins": result.tins,
        "batches": result.batches,
        "forecasts": len(result.table),
        "widened_by_standard_errors": result.widen,
        "passed": result.passed,
        "limits": [verdict.document() for verdict in result.verdicts],
        "cells": [cell.document() for cell in result.cells.values()],
        "spreads_of_the_rules": result.table.spreads,
        "left_out_before_a_heater_failure": int((~result.table.foreseeable).sum()),
        "lost": [
            {"tin": r.tin, "batch": r.batch, "point": r.point, "never": number(r.never), "told": r.told} for r in result.lost
        ],
        "air_stops": {
            "scored": len(result.stops),
            "oxygen_lasted_a_day": len(result.stops) - len(known),
            "rows": [
                {
                    "tin": s.tin, "batch": s.batch, "hatched": number(s.hatched), "truth_min": s.truth,
                    "lo_min": s.lo, "mid_min": s.mid, "hi_min": s.hi, "inside": s.inside, "too_late": s.too_late,
                }
                for s in result.stops
            ],
        },
    }  # fmt: skip
