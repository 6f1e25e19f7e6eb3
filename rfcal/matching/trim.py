"""After building: which part is off, by how much, or that the readings cannot tell.

Every part is suspected in turn: its value is fitted to the re-measured sweep (with exact
derivatives, after a scan), weighed by the full covariance of what is read against what
is expected, in which the errors common to both measurements cancel. Then all parts together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.element import value_words
from rfcal.matching.network import Network
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.uncertainty.quantity import Quantity, combine

CLEAR = 13.8
"""Difference of misfit at which one suspicion beats another: a likelihood ratio of 1000."""
FAR = 0.7
"""Changes are sought within this range of the logarithm of the value."""
FEW = 5
"""Frequencies below which a changed load can look like a part that is off."""


@dataclass(frozen=True, eq=False)
class Suspect:
    """One part, and how far its value would have to be off."""

    name: str  # of the element
    designed: str  # value as designed, in words
    change: float  # relative, from the design
    standard_uncertainty: float  # of the change
    misfit: float  # weighted sum of squares left; about twice the number of points where it fits
    value: float  # as designed
    unit: str  # of it: "H", "F" or "m"

    def size(self) -> str:
        """How far it is off."""
        size, half = 100 * abs(self.change), 196 * self.standard_uncertainty
        # no more digits than the uncertainty supports
        places = int(np.clip(1 - np.floor(np.log10(max(half, 1e-3))), 0, 3))
        way = "above" if self.change > 0 else "below"
        return f"{size:.{places}f} % ± {half:.{places}f} % {way}"

    def cure(self) -> str:
        """What to do about it."""
        return f"{self.name} is {self.size()} its value of {self.designed}: {self.by_hand()}"

    def by_hand(self) -> str:
        """What the hand does to bring it back."""
        above = self.change > 0
        if self.unit == "H":
            return (
                "spread its turns, or take some off" if above else "squeeze its turns, or add some"
            )
        by, half = self.value * abs(self.change), 1.96 * self.value * self.standard_uncertainty
        # no more digits than the uncertainty supports, and no fewer than the first
        place = min(np.floor(np.log10(max(half, 1e-6 * by))), np.floor(np.log10(by)))
        by = float(f"{np.round(by / 10**place) * 10**place:.12g}")
        if self.unit == "F":
            words = value_words(by, "F")
            return f"take {words} less" if above else f"put {words} more across it"
        return (
            f"cut {1e3 * by:g} mm off"
            if above
            else f"it is {1e3 * by:g} mm too short, cut a new one"
        )


@dataclass(frozen=True, eq=False)
class Trim:
    """What the re-measured sweep says about the parts."""

    # "as designed", "one part", "several parts", "undecided" where the readings cannot tell, or
    # "unexplained" where no values of the parts agree with them
    verdict: str
    message: str  # one sentence: what to change
    # the parts that are off, or between which the readings cannot tell; for "unexplained" the one
    # that would have to be so far off that it is no part that is off
    off: tuple[Suspect, ...]
    alone: tuple[Suspect, ...]  # every part suspected alone, least misfit first
    together: tuple[Suspect, ...]  # every part where all may be off
    misfit: float  # as designed
    points: int  # number of frequencies


def _split(values: Complex) -> Real:
    """Real parts, then imaginary parts, along the last axis."""
    return np.concatenate([values.real, values.imag], axis=-1)


def _covariance(quantity: Quantity, floor: float) -> Real:
    """Covariance over real and imaginary parts of all frequencies, shape (2 F, 2 F)."""
    count = quantity.value.size
    common = _split(quantity.common_changes())
    total = np.eye(2 * count) * floor**2 + common.T @ common
    noise = Quantity(quantity.value, tuple(e for e in quantity.effects if e.per_point))
    at = np.arange(count)
    total.reshape(2, count, 2, count)[:, at, :, at] += noise.covariance()
    return total


@dataclass(frozen=True, eq=False)
class _Fit:
    """Weighted misfit of the network to what was read."""

    network: Network
    frequency: Real
    load: Complex
    built: Complex
    whiten: Real
    z_ref: float

    def _with(self, which: Sequence[int], logs: Real) -> Network:
        """Logs, shape (..., len(which)), in those of the elements."""
        values = self.network.values
        for place, k in enumerate(which):
            values[k] = values[k] * np.exp(logs[..., place, None])
        return self.network.with_values(values)

    def residual(self, which: Sequence[int], logs: Real) -> Real:
        seen = self._with(which, logs).seen(self.frequency, self.load, z_ref=self.z_ref)
        return _split(self.built - seen) @ self.whiten.T

    def _jacobian(self, which: Sequence[int], logs: Real) -> Real:
        now = self._with(which, logs)
        _, slopes = now.seen_and_slopes(self.frequency, self.load, z_ref=self.z_ref)
        return self.whiten @ -_split(slopes[list(which)].reshape(len(which), -1)).T

    def solve(self, which: Sequence[int], logs: Real) -> tuple[Real, Real, float]:
        """Logs, their covariance and the misfit."""
        from scipy.optimize import least_squares

        residual, jacobian = partial(self.residual, which), partial(self._jacobian, which)
        found = least_squares(residual, logs, jacobian, xtol=1e-12, ftol=1e-12, gtol=1e-12)
        # covariance of a weighted fit: (J^T J)^-1
        spread: Any = np.linalg.pinv(found.jac.T @ found.jac, rcond=1e-14, hermitian=True)
        return found.x, spread, 2 * found.cost

    def alone(self, k: int) -> tuple[Real, Real, float]:
        """The best of one part, from the best of a scan."""
        scan = np.linspace(-FAR, FAR, 57)[:, None]
        misfit = (self.residual([k], scan) ** 2).sum(axis=-1)
        return self.solve([k], scan[misfit.argmin()])

    def suspects(
        self, which: Sequence[int], logs: Real, spread: Real, misfit: float
    ) -> list[Suspect]:
        made = []
        for place, k in enumerate(which):
            element, ratio = self.network.elements[k], float(np.exp(logs[place]))
            uncertainty = ratio * float(np.sqrt(spread[place, place]))
            off = element.name, element.in_words(), ratio - 1, uncertainty, misfit
            made.append(Suspect(*off, float(element.value), element.unit))
        return made


def _whitening(
    network: Network, frequency: Real, load: Quantity, built: Quantity, z_ref: float, floor: float
) -> Real:
    """What makes the difference of read and expected of unit covariance, shape (2 F, 2 F)."""
    through = network.two_port(frequency).bilinear(z_ref)
    away = built.value - through.apply(load.value)
    off = combine(away, (built, 1.0), (load, -through.derivative(load.value)))
    return np.linalg.inv(np.linalg.cholesky(_covariance(off, floor)))


def _chi2(points: float, tail: float) -> float:
    from scipy.special import chdtri

    return float(chdtri(points, tail))


def trim(
    network: Network,
    frequency: Real,
    load: Quantity,
    built: Quantity,
    *,
    z_ref: float = defaults.REFERENCE_OHM,
    floor: float = 1e-4,
) -> Trim:
    """Which part of a built network is off, by its load's reflection and what is seen of both [1].

    `floor` is the standard deviation [1] of each part of a reflection that is there in any case:
    how well the model can be trusted.
    """
    if not built.value.shape == load.value.shape == frequency.shape:
        raise MatchingError(
            f"the sweep after building has {built.value.size} points, the load's {load.value.size}"
            f" and there are {frequency.size} frequencies: measure both on the same ones"
        )
    if not network.elements:
        raise MatchingError("the network has no part that could be trimmed")
    whiten = _whitening(network, frequency, load, built, z_ref, floor)
    fit = _Fit(network, frequency, to_impedance(load.value, z_ref), built.value, whiten, z_ref)
    misfit = float((fit.residual([], np.zeros(0)) ** 2).sum())
    everything = range(len(network.elements))
    alone = [s for k in everything for s in fit.suspects([k], *fit.alone(k))]
    best = min(alone, key=lambda s: s.misfit)
    starts = [np.zeros(len(alone)), np.where([s is best for s in alone], np.log1p(best.change), 0)]
    solved = min((fit.solve(everything, start) for start in starts), key=lambda found: found[2])
    together = fit.suspects(everything, *solved)
    verdict, suspects = _decide(misfit, alone, together, frequency.size)
    return Trim(
        verdict,
        _words(verdict, suspects, frequency.size),
        tuple(suspects),
        tuple(sorted(alone, key=lambda s: s.misfit)),
        tuple(together),
        misfit,
        frequency.size,
    )


def _decide(
    misfit: float, alone: list[Suspect], together: list[Suspect], points: int
) -> tuple[str, list[Suspect]]:
    """The verdict and the parts that it is about."""
    fits = _chi2(2 * points, 1e-3)
    best, joint = min(s.misfit for s in alone), together[0].misfit
    if misfit < fits and misfit - min(best, joint) < CLEAR:
        return "as designed", []
    if best < fits and best - joint < CLEAR:
        near = sorted((s for s in alone if s.misfit - best < CLEAR), key=lambda s: s.misfit)
        first = near[0]
        if _far(first):
            return "unexplained", [first]
        if abs(first.change) < 2 * first.standard_uncertainty:
            return "unexplained", []
        return ("one part" if len(near) == 1 else "undecided"), near
    if joint > fits:
        return "unexplained", []
    sure = [s for s in together if abs(s.change) > 3 * s.standard_uncertainty]
    if any(_far(s) for s in sure):
        return "unexplained", [s for s in sure if _far(s)][:1]
    return ("several parts", sure) if sure else ("undecided", together)


def _far(suspect: Suspect) -> bool:
    """Whether a part is so far off that it is none: one is missing, or was not connected."""
    return not np.exp(-FAR) <= 1 + suspect.change <= np.exp(FAR)


CHANGED = "a load that has changed since it was measured would look alike, so measure it again"
LOOK = (
    "look for a wrong or bad connection, a changed load, or readings that are worth less than "
    "stated"
)


def _words(verdict: str, off: list[Suspect], points: int) -> str:
    """The verdict as a sentence."""
    cures = "; ".join(s.cure() for s in off)
    several = f"{CHANGED} before you change more than one part"
    if verdict == "unexplained" and off:
        return (
            f"{off[0].name} would have to be {off[0].size()} its value, as if it were missing, "
            f"shorted or another part: {LOOK}"
        )
    return {
        "as designed": "the network is as designed within what the readings can tell",
        "one part": cures if points >= FEW else f"{cures}; at so few frequencies {CHANGED} first",
        "several parts": f"{cures}; {several}",
        "undecided": f"the readings cannot tell which: {cures}; {several}",
        "unexplained": f"no values of the parts agree with the readings: {LOOK}",
    }[verdict]
