"""The scores as a picture: calibration, error against age, and error against the true lead time."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.score.baselines import ALWAYS, HELD, LAST
from monitor.score.cells import Where
from monitor.score.problem import ScoreProblem
from monitor.score.rows import AGED, AGES_H
from monitor.score.table import FLOOR, MODEL

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.score.metrics import Array
    from monitor.score.run import Result
    from monitor.score.table import Mask, Table

LEVELS: Final = np.arange(0.1, 1.0, 0.1)
LEADS_H: Final = np.array([-12.0, 0.0, 4.0, 8.0, 12.0, 16.0, 24.0, 36.0, 60.0])
FEWEST: Final = 5

# Grey value, line and marker each tell the forecasters apart, so that a copy in grey loses nothing.
LOOKS: Final[dict[str, dict[str, Any]]] = {
    MODEL: {"color": "#000000", "linestyle": "-", "marker": "o"},
    FLOOR: {"color": "#5a5a5a", "linestyle": "--", "marker": "s"},
    ALWAYS: {"color": "#8c8c8c", "linestyle": ":", "marker": "^"},
    HELD: {"color": "#8c8c8c", "linestyle": "-.", "marker": "x"},
    LAST: {"color": "#b0b0b0", "linestyle": "-", "marker": "D"},
}


def coverage(place: Array, levels: Array = LEVELS) -> Array:
    """Share of truths inside the central range of each level, given their places in the forecast (0..1)."""
    told = place[~np.isnan(place)]
    return np.array([float((np.abs(2 * told - 1) <= level + 1e-12).mean()) for level in levels])


def by_lead(table: Table, name: str, mask: Mask) -> Array:
    """Mean absolute error between the edges of ``LEADS_H``, shape (edges - 1,); nan where there is hardly any row."""
    lead = table.truth - table.age_h
    error = np.abs(table.forecasts[name].mid - table.truth)
    found = []
    for low, high in itertools.pairwise(LEADS_H):
        inside = mask & (lead >= low) & (lead < high) & ~np.isnan(error)
        found.append(float(error[inside].mean()) if inside.sum() >= FEWEST else np.nan)
    return np.array(found)


def draw(result: Result, path: Path) -> None:
    """Write the picture; its suffix (.svg, .png, .pdf) says how. Raises ScoreProblem when it cannot be drawn."""
    try:
        # Heavy, and not installed with the monitor itself.
        from matplotlib import rc_context  # noqa: PLC0415
        from matplotlib.figure import Figure  # noqa: PLC0415
    except ImportError:
        raise ScoreProblem("--picture needs matplotlib, which is not installed: pip install 'swimup[score]'") from None
    figure = Figure(figsize=(13, 5), layout="constrained")
    left, middle, right = figure.subplots(1, 3)
    _calibration(left, result.table)
    _against_age(middle, result)
    _against_lead(right, result.table)
    try:
        with rc_context({"svg.hashsalt": "swimup"}):  # the same data give the same file
            figure.savefig(path, dpi=150, metadata={"Date": None} if path.suffix == ".svg" else None)
    except (OSError, ValueError) as error:
        raise ScoreProblem(f"{path}: cannot be written: {error}; allowed are .svg, .png and .pdf") from None


def _rows(table: Table, group: str) -> Mask:
    return np.asarray(table.foreseeable & (table.group == group) & np.isin(table.point, AGED))


def _calibration(axes: Any, table: Table) -> None:
    axes.plot([0, 100], [0, 100], color="#c8c8c8", linewidth=1)
    for name in (MODEL, FLOOR):
        for group, fill in (("new", "none"), ("known", "full")):
            place = table.forecasts[name].place[_rows(table, group)]
            if (~np.isnan(place)).any():
                label = f"{name}, {group} tins"
                axes.plot(100 * LEVELS, 100 * coverage(place), label=label, fillstyle=fill, **LOOKS[name])
    axes.set(
        xlabel="central range, %",
        ylabel="truths inside it, %",
        title="Calibration, all ages",
        xlim=(0, 100),
        ylim=(0, 100),
    )
    _finish(axes)


def _against_age(axes: Any, result: Result) -> None:
    for group, names, fill, width in (("known", tuple(LOOKS), "full", 1.6), ("new", (MODEL, FLOOR), "none", 0.8)):
        for name in names:
            cells = [result.cells.get(Where(point, group)) for point in AGED]
            found = [c.scores[name]["mae"].value if c is not None and name in c.scores else np.nan for c in cells]
            if np.isfinite(found).any():
                label = f"{name}, {group} tins"
                axes.plot(AGES_H, found, label=label, fillstyle=fill, linewidth=width, **LOOKS[name])
    axes.set(xlabel="hours since the start", ylabel="mean absolute error, h", title="Error against age")
    _finish(axes)


def _against_lead(axes: Any, table: Table) -> None:
    centres = (LEADS_H[:-1] + LEADS_H[1:]) / 2
    rows = _rows(table, "known")
    for name, look in LOOKS.items():
        error = by_lead(table, name, rows)
        if np.isfinite(error).any():
            axes.plot(centres, error, label=name, **look)
    axes.set(xlabel="hours from the forecast to the true T90", title="Error against lead time, known tins (no limit)")
    _finish(axes)


def _finish(axes: Any) -> None:
    axes.set_ylim(bottom=0)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(frameon=False, fontsize="small", ncols=2, loc="upper center", bbox_to_anchor=(0.5, -0.16))
