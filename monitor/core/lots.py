"""What a tin teaches: after each finished batch its coordinates are moved to what the batch has shown.

A lot is a normal distribution over its nine coordinates (assumed-density filtering: the weighted cloud of a finished batch
is replaced by the normal with the same mean and covariance). Batches that lost their air, their water or their probe teach
nothing, and one that flies in the face of all before teaches half.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.hatch import LOT_COORDINATES, LOT_DIMENSIONS, SHARE, Array, Prior
from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import LotSpec, Ms

DRIFT_SD: Final = {"half": 0.04, "share": 0.25}
"""How far a tin may move between two batches, in its coordinates: it ages, is opened, gets damp. An assumption."""

SURPRISE: Final = 4.0  # Mahalanobis distance per root dimension learned, above which a batch teaches half
STRAIN_WEIGHT: Final = (
    0.25  # of the variance of a tin's speed that it shares with other tins of its strain; an assumption
)
KEPT: Final = 20  # batches a tin remembers for its story
FALLING_FROM: Final = 3
FALLING_SHARE: Final = 0.12

_HALF = LOT_COORDINATES.index("half")


@light
class Taught:
    """What one finished batch said, for the story: hours at 25 C to half, share of all cysts."""

    batch: str
    time: Ms
    half_h: float
    share: float


@light(eq=False)
class Lot:
    """A tin as it is known. ``batches`` counts those that taught something."""

    id: str
    prior: Prior
    batches: int = 0
    taught: tuple[Taught, ...] = field(default=())

    @staticmethod
    def new(spec: LotSpec, others: list[Lot] | None = None) -> Lot:
        """A tin from its label and, where there are learned tins of its strain (``others``), from those."""
        prior = Prior.of_label(spec.label_hatch_percent)
        known = [lot for lot in others or () if lot.batches]
        if not known:
            return Lot(spec.id, prior)
        values = np.array([lot.prior.mean[_HALF] for lot in known])
        own = 1 - STRAIN_WEIGHT
        gain = STRAIN_WEIGHT / (STRAIN_WEIGHT + own / len(values))
        mean, factor = prior.mean.copy(), prior.factor.copy()
        mean[_HALF] = gain * float(values.mean())
        factor[_HALF, _HALF] = float(np.sqrt(own + STRAIN_WEIGHT * (1 - gain)))
        return Lot(spec.id, Prior(mean, factor, prior.share_logit_mean, prior.share_logit_sd))

    def before_next(self) -> Prior:
        """The prior of the next batch: what is known, loosened by what may have happened to the tin since."""
        if not self.batches:
            return self.prior
        covariance = self.prior.factor @ self.prior.factor.T
        for name, sd in DRIFT_SD.items():
            k = LOT_COORDINATES.index(name)
            covariance[k, k] += sd**2
        p = self.prior
        return Prior(p.mean, np.asarray(np.linalg.cholesky(covariance)), p.share_logit_mean, p.share_logit_sd)

    def learn(self, batch: str, time: Ms, prior: Prior, points: Array, weights: Array) -> Lot:
        """The tin after a batch that began with ``prior`` and ended with the weighted cloud ``points`` (n, 14)."""
        at = prior.lot_points(points)
        mean = weights @ at
        covariance = (at - mean).T @ ((at - mean) * weights[:, None])
        before = prior.factor @ prior.factor.T
        step = mean - prior.mean
        surprise = float(np.sqrt(step @ np.linalg.solve(before, step) / LOT_DIMENSIONS))
        if surprise > SURPRISE:
            mean = prior.mean + step / 2
            covariance = (covariance + before) / 2 + np.outer(step, step) / 4
        covariance += 1e-4 * np.eye(LOT_DIMENSIONS)
        learned = Prior(mean, np.asarray(np.linalg.cholesky(covariance)), prior.share_logit_mean, prior.share_logit_sd)
        story = Taught(batch, time, learned.half_h(float(weights @ at[:, _HALF])), float(weights @ _shares(prior, at)))
        return Lot(self.id, learned, self.batches + 1, (*self.taught, story)[-KEPT:])

    # -- telling

    @property
    def slow_percent(self) -> float:
        """How many per cent more hours it takes than a tin of which nothing is known; negative when it is fast."""
        return 100 * (self.prior.half_h(float(self.prior.mean[_HALF])) / self.prior.half_h(0.0) - 1)

    @property
    def hatch_share(self) -> float:
        """Share of all cysts that hatches, 0..1."""
        return self.prior.likely_share

    @property
    def fall(self) -> tuple[float, float] | None:
        """Share (0..1) before, and of the newest batches when they hatched clearly worse; else ``None``."""
        if len(self.taught) < FALLING_FROM:
            return None
        shares = [t.share for t in self.taught]
        newest = min(shares[-2:]) if len(shares) > FALLING_FROM else shares[-1]
        latest = (shares[-1] + newest) / 2
        earlier = float(np.median(shares[:-2] if len(shares) > FALLING_FROM else shares[:-1]))
        return (earlier, latest) if earlier - latest > FALLING_SHARE else None

    @property
    def falling(self) -> bool:
        """Whether the newest batches hatched clearly worse than those before."""
        return self.fall is not None

    def story(self) -> str:
        """What is known of the tin, in a sentence."""
        if not self.batches:
            return "This tin has not been hatched here yet: it starts from its label and what is known of the kind."
        percent = round(self.slow_percent)
        speed = "runs as usual" if abs(percent) < 3 else f"runs {abs(percent)} % {'slow' if percent > 0 else 'fast'}"
        number = "1 batch" if self.batches == 1 else f"{self.batches} batches"
        falling = ", falling" if self.falling else ""
        return f"This tin {speed}, from {number}; hatch {round(100 * self.hatch_share)} %{falling}."

    def document(self) -> dict[str, Any]:
        """All of it, for the store; ``from_document`` gives it back."""
        return {
            "id": self.id,
            "coordinates": list(LOT_COORDINATES),
            "mean": self.prior.mean.tolist(),
            "factor": self.prior.factor.tolist(),
            "share_logit_mean": self.prior.share_logit_mean,
            "share_logit_sd": self.prior.share_logit_sd,
            "batches": self.batches,
            "taught": [[t.batch, t.time, t.half_h, t.share] for t in self.taught],
        }

    @staticmethod
    def from_document(document: dict[str, Any]) -> Lot:
        """Raises KeyError or ValueError for a document of another version's coordinates."""
        if tuple(document["coordinates"]) != LOT_COORDINATES:
            raise ValueError(f"lot {document['id']} was learned with other coordinates; it starts anew")
        prior = Prior(
            np.array(document["mean"], dtype=float),
            np.array(document["factor"], dtype=float),
            float(document["share_logit_mean"]),
            float(document["share_logit_sd"]),
        )
        return Lot(document["id"], prior, document["batches"], tuple(Taught(*t) for t in document["taught"]))


def _shares(prior: Prior, at: Array) -> Array:
    return np.asarray(1 / (1 + np.exp(-(prior.share_logit_mean + prior.share_logit_sd * at[:, SHARE]))))
