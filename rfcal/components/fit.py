"""One equivalent circuit fitted to a swept reflection, with what makes its values uncertain."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.components.circuits import Circuit, Scale, Wanted
from rfcal.components.weighting import Weighting
from rfcal.defaults import FALSE_ALARM
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.coverage import expanded
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.quantity import Quantity

STEP = 1e-6
"""Of a parameter, for its slope: the root of what is lost in rounding, and as much of the value."""
MOST_STEPS = 60
"""Evaluations after which a fit has lost its way."""
MISFIT = 1.5
"""Of a fit's squared residual over the expected one: where it is both this and significant, the
circuit does not describe the sweep."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A circuit that was fitted to a sweep."""

    name: str
    circuit: Circuit
    scale: Scale
    parameters: Quantity  # plain numbers, shape (K,)
    left: Complex  # what it leaves of the reflection [1], shape (F,)
    freedom: int  # of `chi_square`
    # of a circuit that comes to no fit there is no more
    chi_square: float = np.inf
    local: float = np.inf  # squared scatter from point to point over the expected one
    converged: bool = False

    @property
    def excess(self) -> float:
        """The squared residual over what is expected of it."""
        return self.chi_square / self.freedom

    @property
    def describes(self) -> bool:
        """Whether what the fit leaves is explained by what is known of the sweep."""
        return self.converged and (self.excess < MISFIT or not self.significant)

    @property
    def significant(self) -> bool:
        """Whether chance alone seldom leaves as much."""
        from scipy.special import chdtrc

        return bool(chdtrc(self.freedom, self.chi_square) < FALSE_ALARM)

    @property
    def criterion(self) -> float:
        """Bayesian information criterion, ``chi^2 + K ln n`` (G. Schwarz, Ann. Stat. 6 (1978))."""
        count = self.parameters.value.size
        return self.chi_square + count * np.log(self.freedom + count)

    def values(self) -> Real:
        """The parameters as real numbers, shape (K,)."""
        return self.parameters.value.real

    def lowest(self) -> Real:
        """By how many standard deviations each parameter is above zero, shape (K,)."""
        deviation = np.sqrt(self.parameters.covariance()[:, 0, 0])
        return self.values() / np.maximum(deviation, 1e-300)

    def figures(self) -> Mapping[str, Figure]:
        """What is read off the circuit, each of shape (1,) with its 95 % interval."""
        wanted = self.circuit.figures
        stack = _neighbours(self.values())

        def inner(p: Real) -> Real:
            rows = tuple(np.moveaxis(p, -1, 0))
            return np.stack([w.inner(rows, self.scale) + 0 * rows[0] for w in wanted.values()])

        around = inner(stack)
        slope = _slopes(around, self.values())
        middle = around[:, -1]
        found = Quantity(
            middle.astype(complex),
            tuple(replace(e, change=slope @ e.change) for e in self.parameters.effects),
        )
        half = expanded(found)[:, 0] * (np.sqrt(self.excess) if self.significant else 1.0)
        rows = np.stack([middle, middle - half, middle + half]).T[..., None]
        told = zip(wanted.items(), rows, strict=True)
        return {name: _figure(w, *row) for (name, w), row in told}


def _figure(wanted: Wanted, value: Real, low: Real, high: Real) -> Figure:
    """A figure that only rises or falls with what is nearly normal; nothing is below zero."""
    ends = np.sort([wanted.outer(low), wanted.outer(high)], axis=0)
    low, high = np.maximum(ends, 0.0)
    return Figure(np.asarray(wanted.outer(value)), low, high, wanted.unit, 0.0)


def _neighbours(values: Real) -> Real:
    """Parameters with each a little larger, a little smaller, and as they are: (2 K + 1, K)."""
    step = np.diag(_steps(values))
    return np.concatenate([values + step, values - step, values[None]])


def _steps(values: Real) -> Real:
    return STEP * np.maximum(np.abs(values), 1e-3)


def _slopes(around: NDArray[Any], values: Real) -> Any:
    """Slopes by each parameter from the values at `_neighbours`, shape (..., K)."""
    count = values.size
    return (around[..., :count] - around[..., count : 2 * count]) / (2 * _steps(values))


@dataclass(frozen=True, eq=False)
class Sweep:
    """A corrected reflection over frequency, ready to be fitted."""

    frequency: Real  # [Hz]
    reflection: Quantity
    z_ref: float  # [ohm]
    answer: int = 0  # index of the frequency at which the answer is quoted

    @property
    def scale(self) -> Scale:
        """What is 1 in a circuit's plain numbers."""
        middle = float(np.sqrt(self.frequency[0] * self.frequency[-1]))
        return Scale(self.z_ref, 2 * np.pi * middle, float(self.frequency[self.answer]) / middle)

    @property
    def u(self) -> Real:
        """Frequency over the sweep's middle [1]."""
        return self.frequency / np.sqrt(self.frequency[0] * self.frequency[-1])


def fit(name: str, circuit: Circuit, sweep: Sweep, weighting: Weighting) -> Fit:
    """The circuit whose reflection is nearest to the sweep, each point by its covariance."""
    from scipy.optimize import least_squares

    u, measured = sweep.u, sweep.reflection.value

    def misfit(p: Real) -> Real:
        return weighting.apply(circuit.reflection(u, p) - measured)

    def by_each(p: Real) -> Complex:
        return _slopes(circuit.reflection(u, _neighbours(p)).T, p).T

    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        start = circuit.start(u, circuit.immittance(measured))
        free = 2 * u.size - start.size
        try:
            how: Any = {"x_scale": "jac", "max_nfev": MOST_STEPS}
            found = least_squares(misfit, start, lambda p: weighting.apply(by_each(p)).T, **how)
        except ValueError:  # a start or a step where the circuit has no value
            none = Quantity(start.astype(complex))
            return Fit(name, circuit, sweep.scale, none, measured, free)
        left = measured - circuit.reflection(u, found.x)
        solved = Quantity(found.x.astype(complex), weighting.solved(found.jac))
        chi_square = weighting.chi_square(left, by_each(found.x))
        told = chi_square, _local(weighting.apart(left)), bool(found.success)
        return Fit(name, circuit, sweep.scale, solved, left, free, *told)


def _local(residual: Real) -> float:
    """Squared scatter of neighbours over the expected one: second differences see no smooth misfit.

    One is told only where chance seldom makes as much.
    """
    second = np.diff(residual, 2, axis=0)
    found = float(np.mean(second**2)) / 6
    # 35/18 is the variance factor of squared second differences of independent values
    chance = 1 + 3 * np.sqrt(2 * 35 / 18 / second.size)
    return found if found > chance else 1.0
