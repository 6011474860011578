"""Several populations whose seeds nobody could choose: they follow from the hash of the commit that is scored."""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.score.cells import Where
from monitor.score.problem import ScoreProblem
from monitor.score.report import FORMAT, NOTHING, WORDS, bounds, document, markdown, table
from monitor.score.rows import AGED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.score.limits import Found, Verdict
    from monitor.score.run import Result

COUNT: Final = 3
SEED_BYTES: Final = 4
COMMIT: Final = re.compile(r"[0-9a-f]{40}|[0-9a-f]{64}")


def seeds_of(commit: str, count: int = COUNT) -> tuple[int, ...]:
    """Different seeds, each of 32 bits, that follow from a commit's whole hash (hexadecimal, SHA-1 or SHA-256) alone.

    The first ones stay the same when more are asked for. Raises ScoreProblem when it is no whole hash: a shortened one
    would give others.
    """
    given = commit.strip().lower()
    if not COMMIT.fullmatch(given):
        raise ScoreProblem(
            f"{commit!r} is no commit's whole hash; needed are its 40 (or 64) hexadecimal digits: git rev-parse HEAD"
        )
    found: list[int] = []
    k = 0
    while len(found) < count:
        seed = int.from_bytes(hashlib.sha256(f"{given} {k}".encode()).digest()[:SEED_BYTES], "big")
        k += 1
        if seed not in found:
            found.append(seed)
    return tuple(found)


@light
class Run:
    """What was found with one seed, as it is told; the rows themselves are not kept."""

    seed: int
    passed: bool
    verdicts: tuple[Verdict, ...]
    new: int  # batches of new tins, and of known ones, scored at the start
    known: int
    tins: int
    markdown: str
    document: dict[str, Any]

    @classmethod
    def of(cls, seed: int, result: Result, source: str) -> Run:
        new, known = (
            cell.n if (cell := result.cells.get(Where(AGED[0], group))) is not None else 0 for group in ("new", "known")
        )
        text, everything = markdown(result, source), document(result, source)
        return cls(seed, result.passed, result.verdicts, new, known, result.tins, text, everything)


def markdown_of_runs(commit: str, runs: Sequence[Run]) -> str:
    """A table of the limits with each seed's verdict, then each seed's whole report."""
    new, known, tins = (sum(counts) for counts in zip(*((run.new, run.known, run.tins) for run in runs), strict=True))
    counted = f"{new} of new tins and {known} of known ones, of {tins} tins in all"
    lines = [f"Seeds from commit {commit}. Batches scored at the start: {counted}.", "", *_summary(runs)]
    for run in runs:
        lines += [f"## Seed {run.seed}", "", run.markdown.rstrip(), ""]
    return "\n".join(lines).rstrip() + "\n"


def _summary(runs: Sequence[Run]) -> list[str]:
    names = tuple(f"seed {run.seed}" for run in runs)
    header = ("limit", *names, "worst value", "allowed", "worst cell")
    rows = []
    for verdicts in zip(*(run.verdicts for run in runs), strict=True):
        worst = _worst(verdicts)
        value, allowed, where = NOTHING, NOTHING, NOTHING
        if worst is not None:
            value, allowed, where = f"{worst.figure.value:.3g} ({worst.figure.se:.2g})", bounds(worst), worst.where
        rows.append((verdicts[0].name, *(_told(verdict) for verdict in verdicts), value, allowed, where))
    return [*table(header, rows, words=header), ""]


def _told(verdict: Verdict) -> str:
    if verdict.passed is not False:
        return WORDS[verdict.passed]
    broken = sum(not one.holds for one in verdict.judged)
    return f"{WORDS[False]} in {broken} of {len(verdict.judged)}"


def _worst(verdicts: Sequence[Verdict]) -> Found | None:
    """Of all seeds' cells the one with the least margin."""
    found = [verdict.worst for verdict in verdicts if verdict.worst is not None]
    return min(found, key=lambda one: one.margin, default=None)


def document_of_runs(commit: str, runs: Sequence[Run]) -> dict[str, Any]:
    """As JSON: the verdicts by limit and seed, then everything of each seed."""
    limits = []
    for verdicts in zip(*(run.verdicts for run in runs), strict=True):
        worst = _worst(verdicts)
        limits.append(
            {
                "name": verdicts[0].name,
                "passed": [verdict.passed for verdict in verdicts],
                "worst": None if worst is None else worst.document(),
            }
        )
    return {
        "format": FORMAT,
        "commit": commit,
        "seeds": [run.seed for run in runs],
        "passed": all(run.passed for run in runs),
        "new_tin_batches": [run.new for run in runs],
        "known_tin_batches": [run.known for run in runs],
        "tins": [run.tins for run in runs],
        "limits": limits,
        "runs": [run.document for run in runs],
    }
