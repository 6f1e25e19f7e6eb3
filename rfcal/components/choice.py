"""Which circuit a sweep shows, by an information criterion, or why none can be told."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rfcal.components.circuits import CIRCUITS
from rfcal.components.fit import Fit, Sweep, fit
from rfcal.components.weighting import Weighting
from rfcal.uncertainty.derived import Figure

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
SPARE = 2
"""Frequencies beyond the number of a circuit's parameters that its fit needs: with fewer nothing
tells whether it describes the sweep."""


@dataclass(frozen=True, eq=False)
class Verdict:
    """What a sweep shows of a part."""

    sweep: Sweep
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


def choose(sweep: Sweep, model: str = "all") -> Verdict:
    """The circuit that a sweep shows, of all or of those asked for."""
    points = sweep.frequency.size
    names = [n for n in MODELS[model] if points >= len(CIRCUITS[n].parameters) + SPARE]
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


def _fitted(names: list[str], sweep: Sweep) -> tuple[tuple[Fit, ...], float]:
    """All circuits, fitted again where points scatter by more than was stated, and by how much."""
    weighting = Weighting.of(sweep.reflection)
    fits = tuple(fit(n, CIRCUITS[n], sweep, weighting) for n in names)
    scatter = float(np.sqrt(min(f.local for f in fits)))
    if not 1 < scatter < np.inf:
        return fits, 1.0
    weighting = Weighting.of(sweep.reflection, scatter)
    return tuple(fit(n, CIRCUITS[n], sweep, weighting) for n in names), scatter
