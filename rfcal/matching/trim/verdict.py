"""After building: which part is off, by how much, or that the readings cannot tell.

Every part is suspected in turn, and that the load has changed: its value is fitted to the
re-measured sweep, weighed by what is new at every point; the errors common to both measurements are
fitted with it. Then all parts together.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.stock import Stock
from rfcal.matching.tolerance import SETTINGS
from rfcal.matching.trim import suspects
from rfcal.matching.trim.fit import AS_USUAL, LOSSY, Fit
from rfcal.matching.trim.load import MORE_X, UNLIKELY, Changed
from rfcal.matching.trim.suspects import Lossy, Suspect
from rfcal.maths.reflection import Real
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.words import about

CLEAR = 13.8
"""Difference of misfit at which a part is suspected at all: a likelihood ratio of 1000."""
CLEARER = 7.0
"""And at which one part is suspected and not another, or a changed load at all: one of 33."""
EACH = 4.0
"""What each part more that is off must bring: about the logarithm of the number of readings (G.
Schwarz, Ann. Stat. 6 (1978))."""
NOTHING, ALL = -2, -1
"""Rows of the explanations that no part is off, and that all may be."""
FEW = 5
"""Frequencies below which a changed load can look like a part that is off."""
MORE_LOSS, KNOWN = 0.5, 0.25
"""What a part loses more than it should at least, in parts of that [1], and the half of its 95 %
interval below which it is told to two figures."""
MUCH = 0.15
"""A change from which on it is asked whether another network was built [1]: three times what parts
are sold to."""
CLOSER = 3.0
"""Times that parts must be nearer to their value in another network for it to be named."""


@dataclass(frozen=True, eq=False)
class Trim:
    """What the re-measured sweep says about the parts."""

    # "as designed", "leads" where it is but for those, "one part", "several parts", "either part"
    # where mending the first helps, "no gain" where mending none does, "undecided" where the
    # readings cannot tell, "changed load", "other network", or "unexplained" where no values of the
    # parts agree with them
    verdict: str
    message: str  # one sentence: what to change
    # the parts that are off, or between which the readings cannot tell (none where it may be any);
    # for "unexplained" those that would have to be so far off that they are no parts that are off
    off: tuple[Suspect, ...]
    alone: tuple[Suspect, ...]  # every part suspected alone, least misfit first
    misfit: float  # as designed
    # worst SWR that what is to be done would bring, nan where none is clearly lower than it is, so
    # that nothing is to be done; None where that was not asked, or no part seems off
    promised_swr: float | None = None

    @property
    def idle(self) -> bool:
        """Whether what its parts seem to be is nothing to be mended."""
        if self.promised_swr is None:
            return self.verdict == "as designed"
        return bool(np.isnan(self.promised_swr))

    @property
    def reach(self) -> float:
        """How far a part must be off for this network to explain the readings; infinite if none."""
        nothing = self.verdict == "undecided" and not self.off
        off = self.off or self.alone[: self.verdict == "no gain"]
        if nothing or self.verdict in ("unexplained", "changed load"):
            return np.inf
        return max((abs(s.change) for s in off), default=0.0)

    @property
    def amiss(self) -> bool:
        """Whether it is to be asked if another network was built."""
        return self.verdict != "changed load" and self.reach > MUCH

    def bare(self, frequency: Real, load: Quantity, built: Quantity, z_ref: float) -> bool:
        """Whether it reads as its load does without any network."""
        from scipy.special import chdtri

        fit = Fit.of(Network.of("nothing", []), frequency, load, built, z_ref)
        (misfit,) = fit.solve(np.zeros((1, fit.size)), fit.free([[]]))[1]
        return bool(
            misfit < min(chdtri(2 * frequency.size, UNLIKELY), self.alone[0].misfit + CLEARER)
        )

    def other(self, others: Mapping[str, "Trim"]) -> "Trim":
        """The same, unless one of these, by what to do then, explains the readings far better."""
        near = {do: t for do, t in others.items() if t.reach <= min(MUCH, self.reach / CLOSER)}
        if not near and not self.off:
            alone = {do: t for do, t in others.items() if t.verdict == "one part"}
            near = {f"{do}, but for {t.off[0].name}": t for do, t in alone.items()}
        if not near:
            return self
        do = min(near, key=lambda do: near[do].misfit)
        return replace(self, verdict="other network", message=do)


def built_wrongly(network: Network) -> dict[str, Network]:
    """A network the wrong way round or with two parts exchanged, by what to do with such a one."""
    ends, values = (network.elements[0].name, network.elements[-1].name), network.values
    do = (
        f"turn the network round, so that {ends[0]} is at the transmitter's end and {ends[1]} at "
        "the load's: it reads as if built the wrong way round"
    )
    found = {do: replace(network, elements=network.elements[::-1])}
    for (i, one), (k, other) in combinations(enumerate(network.elements), 2):
        if one.unit == other.unit != "m" and values[i] != values[k]:
            do = f"exchange {one.name} and {other.name}: each reads as if in the other's place"
            order = {i: k, k: i}
            made = [values[order.get(n, n)] for n in range(len(values))]
            found[do] = network.with_values(made)
    return found


@dataclass(frozen=True, eq=False)
class _Tried:
    """Explanations by their rows, as `Fit.explained` has them."""

    fit: Fit
    unknowns: Real  # shape (S, n)
    spreads: Real  # their covariances, shape (S, n, n)
    misfits: Real  # shape (S,)
    ampere: Real  # peak current of each part [A], shape (K,)
    adjustable: Collection[int]  # the parts that can be set

    def suspect(self, k: int, row: int) -> Suspect:
        """An element by one explanation."""
        element, x, spread = self.fit.network.elements[k], self.unknowns[row], self.spreads[row]
        log, deviation = self.fit.in_place(k, x, spread)
        ratio, times = float(np.exp(x[k])), float(np.exp(log))
        return Suspect(
            element,
            ratio - 1,
            ratio * float(np.sqrt(spread[k, k])),
            float(self.misfits[row]),
            (times - 1, times * deviation),
            (times - 1) * element.leads_m(float(np.median(self.fit.frequency))),
            float(self.ampere[k]),
            k in self.adjustable,
            k,
        )

    def by_leads(self) -> list[Suspect]:
        """Parts that read as with leads where all is as designed."""
        found = (self.suspect(k, NOTHING) for k in range(self.fit.parts))
        return [one for one in found if one.by_leads]

    def detail(self, goal: Goal | None, verdict: str, alone: Sequence[Suspect]) -> str:
        """How far the load seems off where nothing explains it, else how little parts could be."""
        if verdict == "unexplained":
            return about(self.fit.load_off_ohm(goal))
        leads = (f"; {s.name} reads as with leads of {s.leads}" for s in self.by_leads())
        return ", ".join(s.told() for s in alone) + "".join(leads)

    def changes(self, below: float) -> list[Changed]:
        """Changes of the load that leave less than some misfit, of one kind or of several."""
        found, fit = [], self.fit
        own = slice(fit.parts, fit.losses)
        for row in (*range(fit.parts, fit.losses), fit.told):
            times, variance = self.unknowns[row, own], np.diagonal(self.spreads[row])[own]
            misfit = float(self.misfits[row]) + EACH * (np.count_nonzero(times) - 1)
            one = Changed(fit.course, times, np.sqrt(variance), misfit, row)
            if misfit < below and one.usual:
                found.append(one)
        return found

    def lossy(self, below: float) -> list[Lossy]:
        """Parts whose loss leaves less than some misfit, the likelier first."""
        found, fit = [], self.fit
        for row, k in enumerate(fit.lumped, start=fit.losses):
            part: Any = fit.network.elements[k].part
            more, misfit = LOSSY * float(self.unknowns[row, row]), float(self.misfits[row])
            half = 1.96 * LOSSY * float(np.sqrt(self.spreads[row, row, row]))
            if misfit < below and more > max(MORE_LOSS / part.q, half):
                lost = 1 / part.q + more
                known = half < KNOWN * lost
                found.append(Lossy(fit.network.elements[k], 1 / lost, known, misfit, row))
        return sorted(found, key=lambda one: one.misfit)

    def alike(self, changes: Sequence[Changed], off: Sequence[Suspect]) -> list[Changed]:
        """Those of them that may be what a part seems to be, the likelier first."""
        same = off[:1] if off and off[0].number == self.fit.parts - 1 else []
        if not any(MORE_X in c.kinds for c in changes):
            changes = [*changes, *(c for s in same if (c := s.in_series(self.fit.course)))]
        one = [c for c in changes if len(c.kinds) == 1] or changes
        return sorted(one, key=lambda c: c.misfit)

    def promised(self, goal: Goal, row: int, mended: list[Suspect]) -> float:
        """Worst SWR with some parts mended, by one explanation; nan as in `Fit.mended`."""
        moves = {s.number: -float(np.log1p(s.in_place[0])) for s in mended}
        return self.fit.mended(goal, self.unknowns[row], self.spreads[row], moves)

    def set_anew(self, goal: Goal | None, row: int | None) -> tuple[str, float | None]:
        """Which part to set to the lowest SWR, all else as it is, and the worst that it brings.

        Empty words and None where nothing would be gained, or no one explanation tells.
        """
        tries: list[tuple[float, Suspect]] = []
        if goal is None or row is None:
            return "", None
        # what misses the target is brought to it by any part that can do so
        every = range(self.fit.parts) if self.fit.worst_read(goal) > goal.target_swr else ()
        for k in self.adjustable or every:
            for by in defaults.TRIM_SPAN * np.linspace(-1, 1, SETTINGS):
                one = replace(self.suspect(k, row), in_place=(by, 0.1 * abs(by)), leads_m=0.0)
                if (worst := self.promised(goal, row, [one])) > 0:
                    tries.append((worst, one))
        if not tries:
            return "", None
        worst, one = min(tries, key=lambda pair: pair[0])
        so = f"{one.by_hand()}; that should bring the worst to about {worst:.2f}"
        return f"set {one.name} to the lowest SWR over the band, perhaps so: {so}", worst


def trim(
    network: Network,
    frequency: Real,
    load: Quantity,
    built: Quantity,
    *,
    z_ref: float = defaults.REFERENCE_OHM,
    goal: Goal | None = None,
    stock: Stock = AS_USUAL,
    ampere: ArrayLike = 0.0,
    adjustable: Collection[int] = (),
) -> Trim:
    """Which part of a built network is off, by its load's reflection and what is seen of both [1].

    With a goal nothing is to be done that would not clearly lower the worst SWR in its band. Parts
    are within the tolerance of `stock`, but for what is off. The hand is told what to do by each
    part's peak current [A], shape (K,), and by which are `adjustable`.
    """
    count = len(network.elements)
    first = Fit.of(network, frequency, load, built, z_ref, stock)
    tried, fits = _explained(first, np.broadcast_to(ampere, count), adjustable)
    parts, left = range(count), [float(misfit) for misfit in tried.misfits]
    alone = sorted((tried.suspect(k, k) for k in parts), key=lambda s: s.misfit)
    together = [tried.suspect(k, ALL) for k in parts]
    below = min(fits, left[NOTHING] - CLEARER)
    changes = tried.changes(below)
    kinds = [[c.misfit for c in changes if bool(c.kinds[1:]) == many] for many in (False, True)]
    loads = [min(one, default=np.inf) for one in kinds]  # of one kind, and of several
    # what one kind explains is told by that, however many would explain it too
    told = min(alone[0].misfit, *(loads[:1] if loads[0] < np.inf else loads)) + CLEAR
    losses = tried.lossy(below)
    loads[0] = min(loads[0], *(one.misfit for one in losses), np.inf)
    verdict, off = _decide(left[NOTHING], alone, together, loads, fits, stock.tolerance)
    if verdict == "as designed":
        off = tried.by_leads()
    detail = tried.detail(goal, verdict, alone)
    verdict, off, promised = _mended(tried, goal, verdict, off)
    alike = tried.alike([c for c in changes if c.misfit < told], off)
    losses = [one for one in losses if one.misfit < min(alone[0].misfit, *loads) + CLEAR]
    loss = ", or ".join(one.words for one in losses)
    mends = (promised or 0) > 0
    head, worst = tried.set_anew(goal, None if mends else _row(verdict, off, [*alike, *losses]))
    message = suspects.velocity(together) if verdict == "several parts" else ""
    few = frequency.size < FEW
    message = message or suspects.told(
        verdict, off, detail, alike, promised, head, loss=loss, few=few
    )
    if adjustable and mends:
        message += f"; then set {together[min(adjustable)].name} to the lowest SWR over the band"
    return Trim(verdict, message, tuple(off), tuple(alone), left[NOTHING], worst or promised)


def _explained(fit: Fit, ampere: Real, adjustable: Collection[int]) -> tuple[_Tried, float]:
    """All explanations, and the misfit from which on one does not fit."""
    from scipy.special import chdtri

    fits = float(chdtri(2 * fit.frequency.size, UNLIKELY))
    fit, unknowns, spreads, misfits = fit.explained()
    # what needs common errors that are unlikely by themselves does not fit either
    common = unknowns[:, fit.own :]
    odd = (common**2).sum(axis=-1) > chdtri(max(common.shape[1], 1), UNLIKELY)
    misfits = np.where(odd, np.maximum(misfits, fits), misfits)
    return _Tried(fit, unknowns, spreads, misfits, ampere, adjustable), fits


def _mended(
    tried: _Tried, goal: Goal | None, verdict: str, off: list[Suspect]
) -> tuple[str, list[Suspect], float | None]:
    """The verdict and its parts once more, and the worst SWR once they are mended.

    As in `Trim`: nan where nothing is to be gained, None where nobody asks.
    """
    row, promised = _row(verdict, off), None
    if verdict == "unexplained" or not off:
        return verdict, off, None
    if goal and row is not None:
        promised = tried.promised(goal, row, off)
    elif goal:
        # by each explanation, with each part mended in turn
        swrs = np.array([[tried.promised(goal, by.number, [s]) for by in off] for s in off])
        own, worst = np.diagonal(swrs), swrs.max(axis=1)
        serving = np.flatnonzero(np.isfinite(worst))[:1]
        promised = float(own[np.isnan(own).argmin()])
        if np.isnan(promised):
            verdict, off = "no gain", []
        elif serving.size:
            verdict, promised = "either part", float(worst[serving[0]])
            off = [*(off[k] for k in serving), *(s for k, s in enumerate(off) if k not in serving)]
    if verdict != "as designed":
        return verdict, off, promised
    # leads that make no difference are none to speak of
    return ("as designed", [], promised) if promised != promised else ("leads", off, promised)


def _row(verdict: str, off: list[Suspect], alike: Sequence[Changed | Lossy] = ()) -> int | None:
    """The explanation by which a verdict's SWR is told; None where it is none of them alone."""
    if verdict == "one part":
        return off[0].number
    if verdict == "changed load" and alike:
        return alike[0].row
    return {"several parts": ALL, "as designed": NOTHING, "leads": NOTHING}.get(verdict)


def _decide(
    none: float,
    alone: list[Suspect],
    together: list[Suspect],
    loads: list[float],
    fits: float,
    tolerance: float,
) -> tuple[str, list[Suspect]]:
    """The verdict and the parts that it is about, by what each explanation leaves of misfit."""
    part, joint = alone[0].misfit, together[0].misfit + EACH * (len(together) - 1)
    load, several = min(loads), loads[1]
    if none - min(part, joint, load) < CLEAR:
        return ("as designed" if none < fits else "unexplained"), []
    likely = min((s.misfit for s in alone if not s.far), default=np.inf)
    missing = alone[0].far and part < load + CLEARER
    if load < likely - CLEAR and not missing:
        # of as many parts as kinds of change neither is the likelier
        if min(loads[0] - CLEAR, several + CLEAR) < joint:
            return "changed load", []
        if several < joint + CLEAR:
            return "undecided", []
    if part < min(fits, joint + CLEAR, none - CLEARER):
        if alone[0].far:
            return "unexplained", alone[:1]
        near = [s for s in alone if s.misfit - part < CLEARER and not s.far]
        return ("one part" if len(near) == 1 else "undecided"), near
    if joint > fits:
        return "unexplained", []
    sure = [s for s in together if abs(s.change) > 3 * s.standard_uncertainty]
    if any(s.far for s in sure):
        return "unexplained", [s for s in together if s.far]
    # what is as it was sold is left so where another is not
    sure = [s for s in sure if s.element.line or abs(s.change) > tolerance] or sure
    return ("several parts", sure) if sure else ("undecided", [])
