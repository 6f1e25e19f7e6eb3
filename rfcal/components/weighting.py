"""How a sweep's points weigh together: each by its own covariance, all by what they share."""

from dataclasses import dataclass, replace

import numpy as np

from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.quantity import Effect, Quantity

FINEST = 1e-6
"""No point of a sweep is known better [1]: an instrument without noise tells no more than that."""


@dataclass(frozen=True, eq=False)
class Weighting:
    """What a swept reflection's points are worth.

    A fit weighs each point by its whole covariance, and its values are as uncertain as every
    influence makes them, however many points share it. Weights that went by what is common too
    would lean on differences between points that are known far better than the points are, and
    with that on terms of second order. Whether a fit describes the sweep is asked of them.
    """

    sweep: Quantity
    scatter: float  # of points about what was stated of them
    whole: Real  # inverse lower Cholesky factors of each point's covariance, shape (F, 2, 2)
    own: Real  # the same of what is new at each point

    @classmethod
    def of(cls, sweep: Quantity, scatter: float = 1.0) -> "Weighting":
        """That of a swept reflection, whose points scatter so much more than was stated."""
        new = sweep.own.covariance()
        more = (scatter**2 - 1) * new + FINEST**2 * np.eye(2)
        return cls(sweep, scatter, _root(sweep.covariance() + more), _root(new + more))

    def apply(self, difference: Complex) -> Real:
        """Differences over each point's deviation, shape (..., 2 F)."""
        return _blocked(self.whole, difference).reshape(*difference.shape[:-1], -1)

    def apart(self, difference: Complex) -> Real:
        """Differences over what is new at each point alone, shape (..., F, 2)."""
        return _blocked(self.own, difference)

    def chi_square(self, left: Complex, slopes: Complex) -> float:
        """What a fit leaves, shape (F,), by the covariance of all points together.

        It is least over the parameters, to first order, whose slopes are given, shape (K, F), and
        over what is common to all points, of which each influence costs its own square.
        """
        common = self.sweep.common_changes()
        columns = self.apart(np.concatenate([slopes, common]))
        columns = columns.reshape(len(columns), -1).T
        free = np.zeros((len(common), columns.shape[1]))
        free[:, len(slopes) :] = np.eye(len(common))
        columns = np.concatenate([columns, free])
        size = np.sqrt(np.sum(columns**2, axis=0))
        target = np.concatenate([self.apart(left).ravel(), np.zeros(len(common))])
        ways, _ = np.linalg.qr(columns / np.where(size > 0, size, 1))
        return float(target @ target - np.sum((ways.T @ target) ** 2))

    def solved(self, jacobian: Real) -> tuple[Effect, ...]:
        """What each influence of a sweep does to parameters fitted with this Jacobian (2 F, K).

        Common influences keep their names and do not shrink by averaging; what is new at each
        point is put together by source.
        """
        rows = np.linalg.pinv(jacobian)
        by_point = np.einsum("kfi,fij->kfj", rows.reshape(len(rows), -1, 2), self.whole)
        effects, new = [], dict[str, Real]()
        for effect in self.sweep.effects:
            change = np.broadcast_to(effect.change, self.sweep.value.shape)
            moved = by_point[..., 0] * change.real + by_point[..., 1] * change.imag
            if effect.per_point:
                new[effect.source] = new.get(effect.source, 0.0) + moved @ moved.T
            else:
                effects.append(replace(effect, change=moved.sum(axis=-1) + 0j, rectangular=False))
        for source, covariance in new.items():
            sizes, ways = np.linalg.eigh(covariance * self.scatter**2)
            columns = (ways * np.sqrt(np.maximum(sizes, 0))).T
            effects += [
                Effect(source, column + 0j, influence=(source, "averaged", i))
                for i, column in enumerate(columns)
            ]
        return tuple(effects)


def _root(covariance: Real) -> Real:
    """Inverse lower Cholesky factors of 2x2 covariances."""
    return np.linalg.inv(np.linalg.cholesky(covariance))


def _blocked(blocks: Real, difference: Complex) -> Real:
    """Both parts of each point through its block, shape (..., F, 2)."""
    real, imaginary = difference.real, difference.imag
    first = blocks[:, 0, 0] * real
    second = blocks[:, 1, 0] * real + blocks[:, 1, 1] * imaginary
    return np.stack([first, second], axis=-1)
