"""Equivalent circuits fitted to a swept reflection, and which of them it shows, or why none."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.components.circuits import CIRCUITS, Circuit, Scale
from rfcal.components.weighting import Weighting
from rfcal.defaults import FALSE_ALARM
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.coverage import expanded
from rfcal.uncertainty.derived import Figure, carried
from rfcal.uncertainty.quantity import Quantity

STEP = 1e-6
"""Of a parameter, for its slope: the root of what is lost in rounding, and as much of the value."""
MOST_STEPS = 60
"""Evaluations after which a fit has lost its way."""
MISFIT = 1.5
"""Of a fit's squared residual over the expected one: where it is both this and significant, the
circuit does not describe the sweep."""
DECISIVE = 6.0
"""Difference of the criterion from which the smaller one decides: 20 to 1 (R. E. Kass and A. E.
Raftery, J. Am. Stat. Assoc. 90 (1995) 773; value from memory)."""
BETTER = 3.841458820694124
"""Fall of chi-square that one more parameter brings by chance in one case of twenty (95 %
quantile of one degree of freedom)."""
NEGATIVE = -3.0
"""Standard deviations below zero from which what must be positive is not."""
MODELS = {name: (name,) for name in CIRCUITS} | {
    "coil": ("coil", "cored coil"),
    "antenna": ("antenna", "shunted antenna"),
    "line": ("open line", "shorted line"),
    "all": tuple(CIRCUITS),
}
"""Circuits that are tried, by what was asked for."""
RESONANCES = frozenset({"resonance", "self_resonance"})
"""Figures that are frequencies, which a sweep shows only where it reaches them."""
SPARE_POINTS = 2
"""Frequencies beyond the number of a circuit's parameters that its fit needs: with fewer nothing
tells whether it describes the sweep."""


@dataclass(frozen=True, eq=False)
class FitData:
    """A corrected reflection over frequency, ready to be fitted."""

    frequency: Real  # [Hz]
    reflection: Quantity
    z_ref: float  # [ohm]
    answer: int = 0  # index of the frequency at which the answer is quoted
    chance: float = FALSE_ALARM  # [1] that its own circuit is said not to describe it

    @property
    def scale(self) -> Scale:
        """What is 1 in a circuit's plain numbers."""
        middle = float(np.sqrt(self.frequency[0] * self.frequency[-1]))
        return Scale(self.z_ref, 2 * np.pi * middle, float(self.frequency[self.answer]) / middle)

    @property
    def u(self) -> Real:
        """Frequency over the sweep's middle [1]."""
        return self.frequency / np.sqrt(self.frequency[0] * self.frequency[-1])


@dataclass(frozen=True, eq=False)
class Fit:
    """A circuit that was fitted to a sweep."""

    name: str
    sweep: FitData
    parameters: Quantity  # plain numbers, shape (K,)
    left: Complex  # what it leaves of the reflection [1], shape (F,)
    # of a circuit that comes to no fit there is no more
    chi_square: float = np.inf
    local: float = np.inf  # squared scatter from point to point over the expected one
    converged: bool = False

    @property
    def circuit(self) -> Circuit:
        """The circuit of its name."""
        return CIRCUITS[self.name]

    @property
    def freedom(self) -> int:
        """Degrees of freedom of `chi_square`."""
        return 2 * self.left.size - self.parameters.value.size

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

        return bool(chdtrc(self.freedom, self.chi_square) < self.sweep.chance)

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
        wanted, values, scale = self.circuit.figures, self.values(), self.sweep.scale

        def inner(rows: Real) -> Real:
            each = tuple(rows.T)
            return np.stack([w.inner(each, scale) + 0 * each[0] for w in wanted.values()], axis=-1)

        (middle,), slope = inner(values[None]), _slopes(inner, values)
        effects = (replace(e, change=e.change @ slope) for e in self.parameters.effects)
        half = expanded(Quantity(middle.astype(complex), tuple(effects)))[:, 0]
        half = half * (np.sqrt(self.excess) if self.significant else 1.0)
        # nothing is below zero
        rows = np.stack([middle, *np.maximum([middle - half, middle + half], 0.0)], axis=-1)
        return {
            name: carried(w.outer, value, low, high, w.unit, 0.0)
            for (name, w), (value, low, high) in zip(wanted.items(), rows[..., None], strict=True)
        }


def _slopes(of: Callable[[Real], NDArray[Any]], values: Real) -> NDArray[Any]:
    """Slopes by each parameter, shape (K, ...), of what is reckoned of rows of them."""
    steps = STEP * np.maximum(np.abs(values), 1e-3)
    larger, smaller = (of(values + side * np.diag(steps)) for side in (1, -1))
    return (larger - smaller) / (2 * steps[:, None])


def fit(name: str, sweep: FitData, weighting: Weighting) -> Fit:
    """The circuit whose reflection is nearest to the sweep, each point by its covariance."""
    from scipy.optimize import least_squares

    u, measured, circuit = sweep.u, sweep.reflection.value, CIRCUITS[name]

    def misfit(p: Real) -> Real:
        return weighting.apply(circuit.reflection(u, p) - measured)

    def by_each(p: Real) -> Complex:
        return _slopes(partial(circuit.reflection, u), p)

    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        start = circuit.start(u, circuit.immittance(measured))
        try:
            how: Any = {"x_scale": "jac", "max_nfev": MOST_STEPS}
            found = least_squares(misfit, start, lambda p: weighting.apply(by_each(p)).T, **how)
        except ValueError:  # a start or a step where the circuit has no value
            return Fit(name, sweep, Quantity(start.astype(complex)), measured)
        left = measured - circuit.reflection(u, found.x)
        solved = Quantity(found.x.astype(complex), weighting.solved(found.jac))
        chi_square = weighting.chi_square(left, by_each(found.x))
        told = chi_square, _local(weighting.apart(left)), bool(found.success)
        return Fit(name, sweep, solved, left, *told)


def _local(residual: Real) -> float:
    """Squared scatter of neighbours over the expected one: second differences see no smooth misfit.

    One is told only where chance seldom makes as much.
    """
    second = np.diff(residual, 2, axis=0)
    found = float(np.mean(second**2)) / 6
    # 35/18 is the variance factor of squared second differences of independent values
    chance = 1 + 3 * np.sqrt(2 * 35 / 18 / second.size)
    return found if found > chance else 1.0


@dataclass(frozen=True, eq=False)
class Verdict:
    """What a sweep shows of a part."""

    sweep: FitData
    fits: tuple[Fit, ...]  # of all circuits that were tried
    chosen: Fit | None
    rivals: tuple[str, ...] = ()  # circuits that describe the sweep as well
    scatter: float = 1.0  # of neighbouring points over what was stated of their noise
    reason: str = ""  # for none: "points", "misfit", "negative", "outside" or "fixture"

    @cached_property
    def figures(self) -> Mapping[str, Figure]:
        """Values of the part, without those that would lie outside the sweep."""
        if self.chosen is None:
            return {}
        found, (first, last) = self.chosen.figures(), self.sweep.frequency[[0, -1]]
        beyond = {k for k in RESONANCES & set(found) if not first <= found[k].value[0] <= last}
        if "bandwidth" in found and beyond:  # and so are its width, and Q there
            beyond |= {"bandwidth", "q"}
        return {k: v for k, v in found.items() if k not in beyond}

    @property
    def unseen_resonance(self) -> bool:
        """Whether the part resonates with itself, if at all, outside the sweep."""
        there = self.chosen.circuit.figures if self.chosen else {}
        return bool(RESONANCES & (set(there) - set(self.figures)))


def choose(sweep: FitData, model: str = "all") -> Verdict:
    """The circuit that a sweep shows, of all or of those asked for."""
    points = sweep.frequency.size
    names = [n for n in MODELS[model] if points >= len(CIRCUITS[n].parameters) + SPARE_POINTS]
    if not names:
        return Verdict(sweep, (), None, reason="points")
    fits, scatter = _fitted(names, sweep)
    named = [f for f in fits if model != "all" or f.circuit.holds(sweep.u, tuple(f.values()))]
    describe = [f for f in named if f.describes]
    if not describe:
        reason = "outside" if any(f.describes for f in fits) else "misfit"
        return Verdict(sweep, fits, None, reason=reason)
    sound = [f for f in describe if np.all(f.lowest() > NEGATIVE)]
    if not sound:
        return Verdict(sweep, fits, None, reason="negative")
    best = min(f.criterion for f in sound)
    chosen, *near = (f for f in sound if f.criterion < best + DECISIVE)
    rivals = tuple(f.name for f in near if not _idle(f, chosen))
    return Verdict(sweep, fits, chosen, rivals, scatter)


def _idle(other: Fit, chosen: Fit) -> bool:
    """Whether a circuit of more parameters describes the sweep no better for them."""
    more = other.parameters.value.size > chosen.parameters.value.size
    return more and other.chi_square > chosen.chi_square - BETTER


def _fitted(names: list[str], sweep: FitData) -> tuple[tuple[Fit, ...], float]:
    """All circuits, fitted again where points scatter by more than was stated, and by how much."""
    weighting = Weighting.of(sweep.reflection)
    fits = tuple(fit(n, sweep, weighting) for n in names)
    scatter = float(np.sqrt(min(f.local for f in fits)))
    if not 1 < scatter < np.inf:
        return fits, 1.0
    weighting = Weighting.of(sweep.reflection, scatter)
    return tuple(fit(n, sweep, weighting) for n in names), scatter
