"""After building: which part is off, by how much, or that the readings cannot tell.

Every part is suspected in turn, and that the load has changed: its value is fitted to the
re-measured sweep, weighed by what is new at every point; the errors common to both measurements are
fitted with it. Then all parts together.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.element import NetworkElement, value_words
from rfcal.matching.network import Network
from rfcal.matching.trim_fit import FAR, LARGER, MOST, STRAY_F, Fit
from rfcal.matching.winding import wound
from rfcal.maths.reflection import Real, to_impedance
from rfcal.uncertainty.quantity import Quantity

CLEAR = 13.8
"""Difference of misfit at which a part is suspected at all: a likelihood ratio of 1000."""
CLEARER = 7.0
"""And at which one part is suspected and not another: a likelihood ratio of 33."""
EACH = 4.0
"""What each part more that is off must bring: about the logarithm of the number of readings (G.
Schwarz, Ann. Stat. 6 (1978))."""
MOST_TOLD = 50.0
"""A doubt of a value that is larger tells nothing of the part [%]."""
OTHER = 10.0
"""Times the designed value from which on a part is none at all."""
NO_PART = {"H": ("missing", "shorted"), "F": ("shorted", "missing"), "m": ("endless", "missing")}
"""What a part is as good as whose value is far too large, and far too small."""
FEW = 5
"""Frequencies below which a changed load can look like a part that is off."""
LEFT = 0.1
"""Of a capacitor, what is not worth to be put in [1]."""
MUCH = 0.15
"""A change from which on it is asked whether another network was built [1]: three times what parts
are sold to."""
CLOSER = 3.0
"""Times that parts must be nearer to their value in another network for it to be named."""
CUT_TO = -3
"""Power of ten of the metre to which the hand cuts."""
TELLING, MOST_OHM = 0.02, 1000
"""Reflections that differ by less tell nothing by hand [1], nor do numbers of larger reactances."""


@dataclass(frozen=True, eq=False)
class Suspect:
    """One part, and how far its value would have to be off."""

    element: NetworkElement  # as designed
    change: float  # relative, from the design
    standard_uncertainty: float  # of the change
    misfit: float  # weighted sum of squares left; about twice the number of points where it fits
    ampere: float = 0.0  # peak, that its coil is wound for [A]
    variable: bool = False  # whether its capacitance can be set

    @property
    def name(self) -> str:
        """Of the element."""
        return self.element.name

    @property
    def far(self) -> bool:
        """Whether it is so far off that it is no part: one is missing, or was not connected."""
        return not np.exp(-FAR) <= 1 + self.change <= np.exp(FAR)

    @property
    def half_percent(self) -> float:
        """Half the 95 % interval of the change [%]."""
        return 196 * self.standard_uncertainty

    def size(self) -> str:
        """How far it is off."""
        size, half = 100 * abs(self.change), self.half_percent
        places = int(np.clip(-np.floor(np.log10(max(half, 1e-3))), 0, 3))
        return f"{size:.{places}f} % ± {half:.{places}f} % {self._way('above', 'below')}"

    def cure(self) -> str:
        """What to do about it, and why."""
        return f"{self.by_hand()}: it is {self.size()} its value of {self.element.in_words()}"

    def by_hand(self) -> str:
        """What the hand does to bring it back."""
        name = self.name
        if self.element.unit == "H":
            return self._by_its_turns()
        by = float(self.element.value) * abs(self.change)
        half = 1.96 * float(self.element.value) * self.standard_uncertainty
        # no more digits than the uncertainty supports, and no fewer than the first
        place = min(np.floor(np.log10(max(half, 1e-6 * by))), np.floor(np.log10(by)))
        if self.element.unit == "m":
            by = float(np.round(by, int(-max(place, CUT_TO))))
            words = f"{1e3 * by:g} mm" if by else "less than 1 mm"
            return self._way(f"cut {words} off {name}", f"cut a new {name}, {words} longer")
        if self.change > 1 - max(LEFT, self.half_percent / 100):
            return f"leave {name} out"
        words = value_words(float(f"{np.round(by / 10**place) * 10**place:.12g}"), "F")
        if not self.variable:
            return self._way(f"take {words} off {name}", f"put {words} more across {name}")
        turned = f"turn the variable part of {name} {self._way('down', 'up')} by about {words}"
        return f"{turned}, or {self._way('take as much off', 'put as much more across it')}"

    def _by_its_turns(self) -> str:
        """The same for a coil, as it was told to be wound."""
        name, winding = self.name, wound(float(self.element.value), self.ampere)
        if winding is None:
            return self._way(
                f"spread the turns of {name}, or take some off",
                f"squeeze the turns of {name}, or add some",
            )
        longer, fewer = winding.back_from(1 + self.change)
        quarters = round(4 * abs(fewer)) / 4
        ways = []
        if winding.length_m + longer >= winding.shortest_m:
            way = self._way(f"draw {name} out", f"squeeze {name}")
            ways.append(f"{way} by about {1e3 * abs(longer):.2g} mm")
        if quarters:
            how = self._way("take {} off {}", "add {} to {}")
            turns = how.format(f"about {quarters:g} turns", "it" if ways else name)
            ways.append(f"{turns} at the same length")
        return ", or ".join(ways)

    def _way(self, above: str, below: str) -> str:
        return above if self.change > 0 else below

    def other(self) -> str:
        """What it would be where it is so far off that it is another part, or none."""
        times = 1 + self.change
        if 1 / OTHER < times < OTHER and self.half_percent < MOST_TOLD * times:
            would = self.element.with_value(self.element.value * times).in_words(2)
            instead = f"about {would}, as another part would be"
        else:
            instead = f"as good as {NO_PART[self.element.unit][times < 1]}"
        return f"{self.name} of {self.element.in_words()} would have to be {instead}"

    def told(self) -> str:
        """How far it could be off without being seen, rounded up."""
        half = 100 * abs(self.change) + self.half_percent
        if half > MOST_TOLD:
            return f"what {self.name} is cannot be told from this sweep"
        step = 10 ** np.floor(np.log10(half))
        return f"{self.name} within ± {np.ceil(half / step) * step:g} %"


@dataclass(frozen=True, eq=False)
class Trim:
    """What the re-measured sweep says about the parts."""

    # "as designed", "one part", "several parts", "undecided" where the readings cannot tell,
    # "changed load", "other network", or "unexplained" where no values of the parts agree with them
    verdict: str
    message: str  # one sentence: what to change
    # the parts that are off, or between which the readings cannot tell (none where it may be any);
    # for "unexplained" the one that would have to be so far off that it is no part that is off
    off: tuple[Suspect, ...]
    alone: tuple[Suspect, ...]  # every part suspected alone, least misfit first
    together: tuple[Suspect, ...]  # every part where all may be off
    misfit: float  # as designed

    @property
    def reach(self) -> float:
        """How far a part must be off for this network to explain the readings; infinite if none."""
        nothing = self.verdict == "undecided" and not self.off
        if nothing or self.verdict in ("unexplained", "changed load"):
            return np.inf
        return max((abs(s.change) for s in self.off), default=0.0)

    @property
    def amiss(self) -> bool:
        """Whether it is to be asked if another network was built."""
        return self.verdict != "changed load" and self.reach > MUCH

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


def turned_round(network: Network) -> tuple[str, Network]:
    """What to do with a network that was built the wrong way round, and that one."""
    ends = network.elements[0].name, network.elements[-1].name
    do = (
        f"turn the network round, so that {ends[0]} is at the transmitter's end and {ends[1]} at "
        "the load's: it reads as if built the wrong way round"
    )
    return do, replace(network, elements=network.elements[::-1])


def trim(
    network: Network,
    frequency: Real,
    load: Quantity,
    built: Quantity,
    *,
    z_ref: float = defaults.REFERENCE_OHM,
    ampere: ArrayLike = 0.0,
    variable: bool = False,
) -> Trim:
    """Which part of a built network is off, by its load's reflection and what is seen of both [1].

    A coil's own capacitance is taken for one that is roughly known. The hand is told what to do by
    each part's peak current [A], shape (K,), and by whether capacitors are `variable`.
    """
    from scipy.special import chdtri

    _look_at_points(frequency, load, built)
    fit = Fit.of(network, frequency, load, built, z_ref)
    found, doubts, misfits = fit.explained()
    count, fits = len(network.elements), float(chdtri(2 * frequency.size, 1e-3))

    def suspect(k: int, row: int) -> Suspect:
        ratio, left = float(np.exp(found[row, k])), float(misfits[row])
        doubt, peak = ratio * float(doubts[row, k]), float(np.broadcast_to(ampere, count)[k])
        return Suspect(network.elements[k], ratio - 1, doubt, left, peak, variable)

    alone = sorted((suspect(k, k) for k in range(count)), key=lambda s: s.misfit)
    together = [suspect(k, -1) for k in range(count)]
    loads = [
        (float(misfits[k]), words(float(found[k, k])))
        for k, words in ((count, _larger), (count + 1, _stray))
        if misfits[k] < fits and 0 < abs(found[k, k]) <= MOST
    ]
    none, changed = float(misfits[-2]), min((left for left, _ in loads), default=np.inf)
    best = min(alone[0].misfit, changed)
    alike = " or ".join(words for left, words in loads if left < best + CLEAR)
    verdict, off = _decide(none, alone, together, changed, fits)
    told = ", ".join(s.told() for s in alone)
    if verdict == "undecided" and off:
        told = _deciding(fit, off[:2], *(found[network.elements.index(s.element)] for s in off[:2]))
    message = _velocity(together) if verdict == "several parts" else ""
    message = message or _words(verdict, off, alike, told, few=frequency.size < FEW)
    return Trim(verdict, message, tuple(off), tuple(alone), tuple(together), none)


def _look_at_points(frequency: Real, load: Quantity, built: Quantity) -> None:
    if not built.value.shape == load.value.shape == frequency.shape:
        raise MatchingError(
            f"the sweep after building has {built.value.size} points, the load's {load.value.size}"
            f" and there are {frequency.size} frequencies: measure both on the same ones"
        )


def _decide(
    none: float, alone: list[Suspect], together: list[Suspect], load: float, fits: float
) -> tuple[str, list[Suspect]]:
    """The verdict and the parts that it is about, by what each explanation leaves of misfit."""
    part, joint = alone[0].misfit, together[0].misfit + EACH * (len(together) - 1)
    if none - min(part, joint, load) < CLEAR:
        return ("as designed" if none < fits else "unexplained"), []
    likely = min((s.misfit for s in alone if not s.far), default=np.inf)
    if load < min(likely - CLEAR, joint + CLEAR):
        return "changed load", []
    if part < min(fits, joint + CLEAR, none - CLEARER):
        if alone[0].far:
            return "unexplained", alone[:1]
        near = [s for s in alone if s.misfit - part < CLEARER and not s.far]
        return ("one part" if len(near) == 1 else "undecided"), near
    if joint > fits:
        return "unexplained", []
    sure = [s for s in together if abs(s.change) > 3 * s.standard_uncertainty]
    if far := [s for s in sure if s.far]:
        return "unexplained", far[:1]
    return ("several parts", sure) if sure else ("undecided", [])


def _velocity(together: list[Suspect]) -> str:
    """What to do where all pieces of one line are off by the same share, and no part else is."""
    cut = {s: s.element.line for s in together if s.element.line is not None}
    kinds = {(line.z0, line.velocity_factor) for line in cut.values() if line}
    if len(cut) < 2 or len(kinds) > 1:
        return ""
    changes, sigmas = np.array([(s.change, s.standard_uncertainty) for s in cut]).T
    share = float(np.average(changes, weights=sigmas**-2.0))
    length = np.array([float(s.element.value) for s in cut])
    alike = np.abs(changes - share) * length < 3 * sigmas * length + defaults.CUT_M
    other = any(abs(s.change) > 3 * s.standard_uncertainty for s in together if s not in cut)
    ((_, taken),) = kinds
    found = taken / (1 + share)
    if other or not np.all(alike) or np.any(abs(share) * length < 2 * defaults.CUT_M) or found > 1:
        return ""
    names = " and ".join(s.name for s in cut)
    pieces = " and ".join(
        f"{1e3 * one / (1 + share):.0f} mm for {s.name}" for s, one in zip(cut, length, strict=True)
    )
    return (
        f"measure the velocity factor of the cable: {names} read as cut from one of {found:.2f}, "
        f"where {taken:g} was taken; of that cut {pieces}"
    )


def _larger(times: float) -> str:
    """A change of all of the load in words."""
    return f"all of it {abs(100 * LARGER * times):.2g} % {'larger' if times > 0 else 'smaller'}"


def _stray(times: float) -> str:
    """A change of what lies across the load in words."""
    stray = value_words(float(f"{abs(STRAY_F * times):.2g}"), "F")
    return f"{stray} {'more' if times > 0 else 'less'} across it"


def _deciding(fit: Fit, off: list[Suspect], one: Real, other: Real) -> str:
    """Which reading would tell two parts apart, by the unknowns at which each explains it."""
    told, most = f"measure {off[0].name} or {off[1].name} by itself", TELLING
    for end, ohm in (("open", 1e9), ("shorted", 1e-6)):
        seen = fit.made(np.stack([one, other])).seen(fit.frequency, ohm, z_ref=fit.z_ref)
        apart = np.abs(seen[0] - seen[1])
        if apart.max() > most:
            most, k = apart.max(), int(apart.argmax())
            first, second = map(_ohm, to_impedance(seen[:, k], fit.z_ref).imag)
            told = (
                f"take the load off and sweep the network with that end {end}: at "
                f"{fit.frequency[k] / 1e6:.6g} MHz X is {first} if {off[0].name} is off, "
                f"{second} if {off[1].name} is"
            )
    return told


def _ohm(reactance: float) -> str:
    """A reactance as an instrument shows it, which shows no large ones."""
    if abs(reactance) < MOST_OHM:
        return f"{reactance:.3g} ohm"
    return f"above {MOST_OHM} ohm" if reactance > 0 else f"below -{MOST_OHM} ohm"


def _words(verdict: str, off: list[Suspect], alike: str, told: str, *, few: bool) -> str:
    """What to do by the verdict, and why.

    `alike` are changes of the load that would look alike; `told` is how little each part could be
    off, or the reading that tells two of them apart.
    """
    cures = ("; or " if verdict == "undecided" else "; ").join(s.cure() for s in off)
    again = ""
    if alike or few or verdict == "several parts":
        so = alike and f" ({alike})"
        again = (
            f"measure the load again first: a load that has changed would look alike{so}; if it "
            "is as it was, "
        )
    if verdict == "undecided" and not off:
        return (
            "measure each part by itself: more than one is off, and this sweep cannot tell which "
            "or by how much"
        )
    if verdict == "unexplained" and off:
        return (
            f"look at {off[0].name} and its connections: {off[0].other()}; if they are right, look "
            "for a changed load, or readings that are worth less than stated"
        )
    return {
        "as designed": f"every part is as designed within what the readings can tell: {told}",
        "one part": f"{again}{cures}",
        "several parts": f"{again}{cures}",
        "undecided": f"{again}{told}; then {cures}. Until then the readings cannot tell which, the "
        "likelier first",
        "changed load": f"measure the load again before you touch a part: {alike} than when it was "
        "measured explains the readings, and no part does as well",
        "unexplained": "look for a wrong or bad connection, a changed load, or readings that are "
        "worth less than stated: no values of the parts agree with what was read",
    }[verdict]
