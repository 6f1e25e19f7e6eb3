"""After building: which part is off, by how much, or that the readings cannot tell.

Every part is suspected in turn, and that the load has changed: its value is fitted to the
re-measured sweep, weighed by what is new at every point; the errors common to both measurements are
fitted with it. Then all parts together.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
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
from rfcal.matching.trim.fit import UNIT_LOSS, Misfit
from rfcal.matching.trim.load import LEAST_CHANCE, MOST_TIMES, Course
from rfcal.matching.trim.suspects import Other, Suspect
from rfcal.maths.arguments import numbers
from rfcal.maths.reflection import Real
from rfcal.uncertainty.quantity import Quantity

CLEAR = 13.8
"""Difference of misfit at which a part is suspected at all: a likelihood ratio of 1000."""
CLEARER = 7.0
"""And at which one part is suspected and not another, or a changed load at all: one of 33."""
EACH = 4.0
"""What each part more that is off must bring: about the logarithm of the number of readings (G.
Schwarz, Ann. Stat. 6 (1978))."""
JOINTLY, NOTHING, ALL = -3, -2, -1
"""Rows of the explanations that the load has changed in several ways, that no part is off, and that
all may be."""
FEW = 5
"""Frequencies below which a changed load can look like a part that is off."""
MORE_LOSS, KNOWN = 0.5, 0.25
"""What a part loses more than it should at least, in parts of that [1], and the half of its 95 %
interval below which it is told to two figures."""
MUCH = 0.15
"""A change from which on it is asked whether another network was built [1]: three times what parts
are sold to."""
BARE = (
    "look whether this is the right sweep, and whether the network was connected: it reads as the "
    "device does without any"
)
CLOSER = 3.0
"""Times that parts must be nearer to their value in another network for it to be named."""


@dataclass(frozen=True, eq=False)
class Trim:
    """What the re-measured sweep says about the parts."""

    # "as designed", "leads" where it is but for those, "one part", "several parts", "undecided"
    # where the readings cannot tell, "changed load", "other network", or "unexplained" where no
    # values of the parts agree with them
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
        if nothing or self.verdict in ("unexplained", "changed load"):
            return np.inf
        return max((abs(s.change) for s in self.off), default=0.0)

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


def _built_wrongly(network: Network) -> dict[str, Network]:
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
    """Explanations by their rows, as `Misfit.explained` has them."""

    fit: Misfit
    unknowns: Real  # shape (S, n)
    spreads: Real  # their covariances, shape (S, n, n)
    misfits: Real  # shape (S,)
    fits: float  # the misfit from which on one does not fit
    goal: Goal | None
    ampere: Real  # peak current of each part [A], shape (K,)
    adjustable: Collection[int]  # the parts that can be set

    @classmethod
    def of(
        cls, fit: Misfit, goal: Goal | None, ampere: ArrayLike, adjustable: Collection[int]
    ) -> "_Tried":
        """All explanations of a fit."""
        from scipy.special import chdtri

        fits = float(chdtri(2 * fit.frequency.size, LEAST_CHANCE))
        fit, unknowns, spreads, misfits = fit.explained()
        # what needs common errors that are unlikely by themselves does not fit either
        common = unknowns[:, fit.own :]
        odd = (common**2).sum(axis=-1) > chdtri(max(common.shape[1], 1), LEAST_CHANCE)
        misfits = np.where(odd, np.maximum(misfits, fits), misfits)
        peaks = np.broadcast_to(ampere, fit.parts)
        return cls(fit, unknowns, spreads, misfits, fits, goal, peaks, adjustable)

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

    @cached_property
    def alone(self) -> list[Suspect]:
        """Every part by what it would be alone, the likelier first."""
        return sorted((self.suspect(k, k) for k in range(self.fit.parts)), key=lambda s: s.misfit)

    @cached_property
    def together(self) -> list[Suspect]:
        """Every part by what all would be together."""
        return [self.suspect(k, ALL) for k in range(self.fit.parts)]

    @cached_property
    def by_leads(self) -> list[Suspect]:
        """Parts that read as with leads where all is as designed."""
        found = (self.suspect(k, NOTHING) for k in range(self.fit.parts))
        return [one for one in found if one.by_leads]

    @cached_property
    def others(self) -> list[Other]:
        """What else explains the readings, the load's changes first, the likelier first."""
        changes = (self._changed(row) for row in (*range(self.fit.parts, self.fit.losses), JOINTLY))
        losses = (self._lossy(row, k) for row, k in enumerate(self.fit.lumped, self.fit.losses))
        below = min(self.fits, self.misfits[NOTHING] - CLEARER)
        found = [one for one in (*changes, *losses) if one and one.misfit < below]
        return sorted(found, key=lambda one: (not one.kinds, one.misfit))

    def _changed(self, row: int) -> Other | None:
        """A change of the load by one explanation; none of more than loads usually change."""
        own = slice(self.fit.parts, self.fit.losses)
        times, variance = self.unknowns[row, own], np.diagonal(self.spreads[row])[own]
        kinds = int(np.count_nonzero(times))
        if np.hypot.reduce(times) > MOST_TIMES:
            return None
        words = self.fit.course.in_words(times, 1.96 * np.sqrt(variance))
        return Other(words, float(self.misfits[row]) + EACH * (kinds - 1), row, kinds)

    def _lossy(self, row: int, k: int) -> Other | None:
        """A part that loses more than it should, by one explanation."""
        element = self.fit.network.elements[k]
        part: Any = element.part
        more, lost = UNIT_LOSS * self.unknowns[row, row], 1 / part.q
        half = 1.96 * UNIT_LOSS * float(np.sqrt(self.spreads[row, row, row]))
        if more <= max(MORE_LOSS * lost, half):
            return None
        figures = 2 if half < KNOWN * (lost + more) else 1
        allowed = f"a Q of {part.q:g} allows" if lost else "was reckoned with"
        q = float(f"{1 / (lost + more):.{figures}g}")
        words = f"{element.name} loses more than {allowed}, about Q {q:g}"
        return Other(words, float(self.misfits[row]), row)

    @property
    def alike(self) -> list[Other]:
        """Those of the others that may be it: what one kind explains is told by that alone."""
        changes = [o for o in self.others if o.kinds == 1] or [o for o in self.others if o.kinds]
        losses, found = [o for o in self.others if not o.kinds], []
        for some, beside in ((changes, changes), (losses, self.others)):
            likely = min([self.alone[0].misfit, *(o.misfit for o in beside)]) + CLEAR
            found += [o for o in some if o.misfit < likely]
        return found

    def decided(self) -> tuple[str, list[Suspect]]:
        """The verdict and the parts that it is about, by what each explanation leaves of misfit."""
        none, part = self.misfits[NOTHING], self.alone[0].misfit
        joint = self.together[0].misfit + EACH * (self.fit.parts - 1)
        one, several = (
            min((o.misfit for o in self.others if (o.kinds > 1) == many), default=np.inf)
            for many in (False, True)
        )
        load = min(one, several)
        if none - min(part, joint, load) < CLEAR:
            return ("as designed", self.by_leads) if none < self.fits else ("unexplained", [])
        likely = min((s.misfit for s in self.alone if not s.far), default=np.inf)
        missing = self.alone[0].far and part < load + CLEARER
        if load < likely - CLEAR and not missing:
            # of as many parts as kinds of change neither is the likelier
            if min(one - CLEAR, several + CLEAR) < joint:
                return "changed load", []
            if several < joint + CLEAR:
                return "undecided", []
        if part < min(self.fits, joint + CLEAR, none - CLEARER):
            if self.alone[0].far:
                return "unexplained", self.alone[:1]
            near = [s for s in self.alone if s.misfit - part < CLEARER and not s.far]
            return ("one part" if len(near) == 1 else "undecided"), near
        return self._together() if joint <= self.fits else ("unexplained", [])

    def _together(self) -> tuple[str, list[Suspect]]:
        """The verdict where only several parts explain it."""
        sure = [s for s in self.together if abs(s.change) > 3 * s.standard_uncertainty]
        if any(s.far for s in sure):
            return "unexplained", [s for s in self.together if s.far]
        # what is as it was sold is left so where another is not
        off = self.fit.stock.off
        beyond = [s for s in sure if s.element.line or abs(s.change) > off(s.element)]
        return ("several parts", beyond or sure) if sure else ("undecided", [])

    def row(self, verdict: str, off: list[Suspect]) -> int | None:
        """The explanation by which a verdict's SWR is told; None where it is none of them alone."""
        if verdict == "one part":
            return off[0].number
        if verdict == "changed load":
            return self.alike[0].row
        return {"several parts": ALL, "as designed": NOTHING, "leads": NOTHING}.get(verdict)

    def promised(self, row: int, mended: list[Suspect]) -> float | None:
        """Worst SWR with some parts mended, by one explanation; as in `Trim`."""
        if self.goal is None:
            return None
        moves = np.zeros((1, self.fit.size))
        moves[0, [s.number for s in mended]] = [-np.log1p(s.in_place[0]) for s in mended]
        return self.fit.mended(self.goal, self.unknowns[row], self.spreads[row], moves)[1]

    def brings(self, worst: float) -> str:
        """What the worst SWR should then be, and that this misses what was asked for."""
        target = self.goal.target_swr if self.goal else np.inf
        missed = f", which still misses {target:g}" if round(worst, 2) > target else ""
        return f"; that should bring the worst SWR to about {worst:.2f}{missed}"

    def mended(self, verdict: str, off: list[Suspect]) -> tuple[str, list[Suspect], float | None]:
        """The verdict and its parts once more, and the worst SWR once they are mended."""
        row, promised = self.row(verdict, off), None
        if verdict == "unexplained" or not off:
            return verdict, off, None
        if row is not None:
            promised = self.promised(row, off)
        elif self.goal:
            swrs = (self.promised(s.number, [s]) or np.nan for s in off)
            promised = next((one for one in swrs if one > 0), np.nan)
        if verdict != "as designed":
            return verdict, off, promised
        # leads that make no difference are none to speak of
        return (verdict, [], promised) if promised != promised else ("leads", off, promised)

    def set_anew(self, row: int | None) -> tuple[str, float | None]:
        """Which part to set to the lowest SWR, all else as it is, and the worst that it brings.

        Empty words and None where nothing would be gained, or no one explanation tells.
        """
        if self.goal is None or row is None:
            return "", None
        # what misses the target is brought to it by any part that can do so
        missed = self.fit.worst_read(self.goal) > self.goal.target_swr
        tries, off = [], defaults.TRIM_SPAN * np.linspace(-1, 1, SETTINGS)
        for k in self.adjustable or range(self.fit.parts if missed else 0):
            moves = np.zeros((SETTINGS, self.fit.size))
            moves[:, k] = -np.log1p(off)
            best, worst = self.fit.mended(self.goal, self.unknowns[row], self.spreads[row], moves)
            tries += [(worst, k, float(off[best]))] * (worst > 0)
        if not tries:
            return "", None
        worst, k, by = min(tries)
        now = self.suspect(k, row)
        wanted = float(f"{now.element.value * (1 + now.change) / (1 + by):.2g}")
        one = replace(now, in_place=(by, 0.1 * abs(by)), leads_m=0.0, wanted=wanted)
        so = f"{one.by_hand()}{self.brings(worst)}"
        return f"set {one.name} to the lowest SWR over the band, perhaps so: {so}", worst

    @property
    def bare(self) -> bool:
        """Whether it reads as the load does without any network."""
        fit = replace(self.fit, network=Network.of("nothing", []), at=None)
        (misfit,) = fit.solve(np.zeros((1, fit.size)), fit.free([[]]))[1]
        return bool(misfit < min(self.fits, self.alone[0].misfit + CLEARER))

    def designed(self) -> str:
        """That all is as designed, and how little parts could be off."""
        leads = (f"; {s.name} reads as with leads of {s.leads}" for s in self.by_leads)
        told = ", ".join(s.told() for s in self.alone) + "".join(leads)
        return f"every part is as designed within what the readings can tell: {told}"

    def said(self) -> Trim:
        """The verdict on this network."""
        verdict, off, promised = self.mended(*self.decided())
        mends = (promised or 0) > 0
        setting, worst = self.set_anew(None if mends else self.row(verdict, off))
        message = suspects.velocity(off) if verdict == "several parts" else ""
        if verdict == "as designed":
            message = "; ".join(filter(None, (setting, self.designed())))
        elif not message:
            few = self.fit.frequency.size < FEW
            message = suspects.told(verdict, off, self.alike, promised, setting, few=few)
            if promised and mends and verdict != "undecided":
                message += self.brings(promised)
        if self.adjustable and mends:
            name = self.fit.network.elements[min(self.adjustable)].name
            message += f"; then set {name} to the lowest SWR over the band"
        misfit = float(self.misfits[NOTHING])
        return Trim(verdict, message, tuple(off), tuple(self.alone), misfit, worst or promised)


def trim(
    network: Network,
    frequency: Real,
    load: Quantity,
    built: Quantity,
    *,
    z_ref: float = defaults.REFERENCE_OHM,
    goal: Goal | None = None,
    stock: Stock | None = None,
    ampere: ArrayLike = 0.0,
    adjustable: Collection[int] = (),
    others: Mapping[str, Network] | None = None,
) -> Trim:
    """Which part of a built network is off, by its load's reflection and what is seen of both [1].

    With a goal nothing is to be done that would not clearly lower the worst SWR in its band. Parts
    are within the tolerance of `stock`, but for what is off. The hand is told what to do by each
    part's peak current [A], shape (K,), and by which are `adjustable`. Before parts are called far
    off, it is asked if the network was built wrongly, or one of `others`, by what to do then.
    """
    course = Course.of(frequency, load, z_ref)
    fit = Misfit(network, frequency, load, built, z_ref, course, stock or Stock())
    tried = _Tried.of(fit, goal, numbers(ampere, "a current"), adjustable)
    found = tried.said()
    if found.verdict == "changed load" or found.reach <= MUCH:
        return found
    if tried.bare:
        return replace(found, verdict="other network", message=BARE)
    asked = _built_wrongly(network) | dict(others or {})
    fits = {do: replace(fit, network=one) for do, one in asked.items()}
    return found.other({do: _Tried.of(one, goal, 0.0, ()).said() for do, one in fits.items()})
