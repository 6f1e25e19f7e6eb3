"""After building: which part is off, by how much, or that the readings cannot tell.

Every part is suspected in turn: its value is fitted to the re-measured sweep (with exact
derivatives, after a scan), weighed by the full covariance of what is read against what
is expected, in which the errors common to both measurements cancel. Then all parts together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.element import value_words
from rfcal.matching.network import Network
from rfcal.matching.parts import Inductor
from rfcal.matching.trim_fit import FAR, Fit
from rfcal.maths.reflection import Real
from rfcal.uncertainty.quantity import Quantity

CLEAR = 13.8
"""Difference of misfit at which a part is suspected at all: a likelihood ratio of 1000."""
CLEARER = 7.0
"""And at which one part is suspected and not another: a likelihood ratio of 33. Of 684 networks
with one part off this named none that was not, and left open 2 %."""
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


def _suspects(fit: Fit, which: Sequence[int], found: tuple[Real, Real, float]) -> list[Suspect]:
    """Parts as they were fitted: logs of their values, covariance and misfit."""
    logs, spread, misfit = found
    made = []
    for place, k in enumerate(which):
        element, ratio = fit.network.elements[k], float(np.exp(logs[place]))
        uncertainty = ratio * float(np.sqrt(spread[place, place]))
        off = element.name, element.in_words(), ratio - 1, uncertainty, misfit
        made.append(Suspect(*off, float(element.value), element.unit))
    return made


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
    fit = Fit.of(network, frequency, load, built, z_ref, floor)
    everything = range(len(network.elements))
    # weights once more, through the network as it seems to have been built
    found = [fit.alone(k) for k in everything]
    nearest = min(everything, key=lambda k: found[k][2])
    fit = fit.weighed(fit.with_logs([nearest], found[nearest][0]))
    misfit = fit.misfit(network)
    solved = [fit.solve([k], found[k][0]) for k in everything]
    alone = [s for k in everything for s in _suspects(fit, [k], solved[k])]
    best = min(everything, key=lambda k: solved[k][2])
    starts = [np.zeros(len(alone)), np.where([k == best for k in everything], solved[best][0], 0)]
    joint = min((fit.solve(everything, start) for start in starts), key=lambda one: one[2])
    together = _suspects(fit, everything, joint)
    verdict, suspects = _decide(misfit, alone, together, frequency.size)
    words = _words(verdict, suspects, frequency.size)
    if verdict == "as designed":
        words += _told(alone)
    elif verdict == "one part" and frequency.size >= FEW:
        words += _or_load(fit, min(s.misfit for s in alone))
    return Trim(
        verdict,
        words,
        tuple(suspects),
        tuple(sorted(alone, key=lambda s: s.misfit)),
        tuple(together),
        misfit,
        frequency.size,
    )


OWN = (0.0, 2.0)
"""A coil's own capacitance may be this many times what its winding is reckoned to have (common
practice, no source)."""


def trim_as_wound(
    network: Network, frequency: Real, load: Quantity, built: Quantity, *, z_ref: float
) -> Trim:
    """`trim`, with the doubt of each coil's own capacitance in what it says of the parts."""
    found = trim(network, frequency, load, built, z_ref=z_ref)
    coils = [e for e in network.elements if isinstance(e.part, Inductor) and e.part.parallel_f]
    if found.verdict == "as designed" or not coils:
        return found
    others = [trim(_owning(network, n), frequency, load, built, z_ref=z_ref) for n in OWN]
    if sound := next((other for other in others if other.verdict == "as designed"), None):
        return sound

    def widened(suspect: Suspect, which: str) -> Suspect:
        every = [s for other in others for s in getattr(other, which) if s.name == suspect.name]
        # both are taken for two standard deviations off
        own = max((abs(s.change - suspect.change) for s in every), default=0.0) / 2
        doubt = float(np.hypot(own, suspect.standard_uncertainty))
        return replace(suspect, standard_uncertainty=doubt)

    verdict = found.verdict
    which = "together" if verdict == "several parts" else "alone"
    off = [widened(suspect, which) for suspect in found.off]
    sure = [s for s in off if abs(s.change) > 2 * s.standard_uncertainty]
    if verdict == "several parts" and sure:
        off, verdict = sure, "several parts" if len(sure) > 1 else "one part"
    rest = found.message.removeprefix(_words(found.verdict, list(found.off), found.points))
    message = _words(verdict, off, found.points) + rest
    return replace(found, verdict=verdict, off=tuple(off), message=message)


def _owning(network: Network, times: float) -> Network:
    """The network with so many times each coil's own capacitance."""
    elements = tuple(
        replace(e, part=replace(e.part, parallel_f=times * e.part.parallel_f))
        if isinstance(e.part, Inductor)
        else e
        for e in network.elements
    )
    return replace(network, elements=elements)


def _decide(
    misfit: float, alone: list[Suspect], together: list[Suspect], points: int
) -> tuple[str, list[Suspect]]:
    """The verdict and the parts that it is about."""
    fits = _chi2(2 * points, 1e-3)
    best, joint = min(s.misfit for s in alone), together[0].misfit
    if misfit < fits and misfit - min(best, joint) < CLEAR:
        return "as designed", []
    if best < fits and best - joint < CLEAR:
        near = sorted((s for s in alone if s.misfit - best < CLEARER), key=lambda s: s.misfit)
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


def _told(alone: list[Suspect]) -> str:
    """How far each part could be off without being seen."""
    halves = (
        (s.name, float(f"{100 * abs(s.change) + 196 * s.standard_uncertainty:.1g}")) for s in alone
    )
    told = ", ".join(f"{name} to {half:g} %" for name, half in halves)
    return f": {told}"


def _or_load(fit: Fit, misfit: float) -> str:
    """The change of the load that would look like the part that is off; empty where none would."""
    thin = fit.thinned()
    share = fit.frequency.size / thin.frequency.size
    limit = _chi2(2 * thin.frequency.size, 1e-3)
    said = [
        _change(kind, size)
        for left, kind, size in thin.changed_load()
        if left < limit and share * left < misfit + CLEAR
    ]
    return f"; {CHANGED} first ({', or '.join(said)})" if said else ""


def _change(kind: str, size: float) -> str:
    """A change of the load in words."""
    if kind == "larger":
        return f"all of it {abs(100 * size):.2g} % {'larger' if size > 0 else 'smaller'}"
    stray = value_words(float(f"{abs(size):.2g}"), "F")
    return f"{stray} {'more' if size > 0 else 'less'} across it"


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
        "undecided": f"the readings cannot tell which, the likelier first: {cures}; {several}",
        "unexplained": f"no values of the parts agree with the readings: {LOOK}",
    }[verdict]
