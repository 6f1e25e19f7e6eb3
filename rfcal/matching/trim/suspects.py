"""A part of a built network that may be off: how far, and what the hand does about it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rfcal import defaults
from rfcal.matching.network import NetworkElement, part_value
from rfcal.matching.trim.fit import LOG_RANGE
from rfcal.matching.winding import Winding, wound
from rfcal.uncertainty.words import about

MOST_TOLD = 50.0
"""A doubt of a value that is larger tells nothing of the part [%]."""
OTHER = 10.0
"""Times the designed value from which on a part is none at all."""
NO_PART = {"H": ("missing", "shorted"), "F": ("shorted", "missing"), "m": ("endless", "missing")}
"""What a part is as good as whose value is far too large, and far too small."""
LEAST_LEADS_M, MOST_LEADS_M = 0.5e-3, 2 * defaults.LEAD_M
"""What leads are shortened by at least and at most [m]: twice what they are with care."""
LEFT = 0.1
"""Of a capacitor, what is not worth to be put in [1]."""
MOST_ALIKE = 2
"""Changes of the load that are told where they look like a part that is off."""
MOST_BOUGHT_H = 1e-6
"""A coil that cannot be wound in air is bought up to this, and perhaps wound on a core above [H]
(common practice, no source)."""
FAR_OFF = 0.15
"""A change from which on a coil is looked at for turns and length before it is touched [1]: three
times what parts are sold to."""
CUT_TO = -3
"""Power of ten of the metre to which the hand cuts."""


@dataclass(frozen=True, eq=False)
class Suspect:
    """One part, and how far its value would have to be off."""

    element: NetworkElement  # as designed
    change: float  # of the part itself, relative, from the design
    standard_uncertainty: float  # of the change; what leads and strays may be is in it
    misfit: float  # weighted sum of squares left; about twice the number of points where it fits
    in_place: tuple[float, float]  # change with its leads and strays, and its standard uncertainty
    leads_m: float = 0.0  # length of leads that would do as much, 0 where none do [m]
    ampere: float = 0.0  # peak, that its coil is wound for [A]
    variable: bool = False  # whether its capacitance can be set
    number: int = 0  # of the element
    wanted: float | None = None  # the value to be fitted in its place, None as designed

    @property
    def name(self) -> str:
        """Of the element."""
        return self.element.name

    @property
    def far(self) -> bool:
        """Whether it is so far off that it is no part: one is missing, or was not connected."""
        return not np.exp(-LOG_RANGE) <= 1 + self.change <= np.exp(LOG_RANGE)

    @property
    def half_percent(self) -> float:
        """Half the 95 % interval of the change [%]."""
        return 196 * self.standard_uncertainty

    def size(self) -> str:
        """How far it is off."""
        size, half = 100 * abs(self.change), self.half_percent
        places = int(np.clip(-np.floor(np.log10(max(half, 1e-3))), 0, 3))
        side = "above" if self.change > 0 else "below"
        said = f"{size:.{places}f} % ± {half:.{places}f} % {side}"
        return f"{said} its value of {self.element.in_words()}"

    @property
    def by_leads(self) -> bool:
        """Whether usual leads are clearly what makes its value look larger."""
        return bool(self.leads) and self.in_place[0] > 3 * self.in_place[1]

    @property
    def leads(self) -> str:
        """Leads that would do as much, in half millimetres; empty where such ones are unlikely."""
        if not LEAST_LEADS_M < self.leads_m < MOST_LEADS_M:
            return ""
        return f"about {round(2e3 * self.leads_m) / 2:g} mm in all"

    def by_hand(self) -> str:
        """What the hand does to bring it back."""
        by_its_value = self._by_its_turns() if self.element.unit == "H" else self._by_its_value()
        first = f"shorten the leads of {self.name} by {self.leads}, or " if self.leads else ""
        return f"{first}{by_its_value}"

    def _by_its_value(self) -> str:
        """The same for a capacitor or a piece of line, whatever its leads are."""
        name = self.name
        change, half = abs(self.in_place[0]), 1.96 * self.in_place[1]
        by = float(self.element.value) * change
        # no more digits than the uncertainty supports, and no fewer than the first
        place = np.floor(np.log10(by * min(max(half / change, 1e-6), 1)))
        if self.element.unit == "m":
            by = float(np.round(by, int(-max(place, CUT_TO))))
            words = f"{1e3 * by:g} mm" if by else "less than 1 mm"
            return self._way(f"cut {words} off {name}", f"cut a new {name}, {words} longer")
        if self.in_place[0] > 1 - max(LEFT, half):
            return f"leave {name} out"
        by = float(f"{np.round(by / 10**place) * 10**place:.2g}")
        words = part_value(by, "F")
        if not self.variable:
            return self._way(f"take {words} off {name}", f"put {words} more across {name}")
        turned = f"turn the variable part of {name} {self._way('down', 'up')} by about {words}"
        return f"{turned}, or {self._way('take as much off', 'put as much more across it')}"

    def _by_its_turns(self) -> str:
        """The same for a coil, as it was told to be wound."""
        name, (change, deviation) = self.name, self.in_place
        fit = f"fit one that measures {part_value(self.wanted or self.element.value, 'H')}"
        fit += " with its leads" * bool(self.leads)
        told = wound(float(self.element.value), self.ampere)
        back = told and told.back_from(1 + change)
        if told is None or back is None:
            core = self._way("spread its turns or take some off", "squeeze its turns or add some")
            made = f", or {core} if it was wound" if self.element.value > MOST_BOUGHT_H else ""
            return f"{fit} in place of {name}{made}"
        first, bought = "", f", or {fit} if it was bought"
        if abs(change) > FAR_OFF and not self.leads:
            first = f"{self._as_wound(told)}; only if it was so already, "
        if back.turns == told.turns:
            known = 2 if 1.96 * deviation < 0.1 * abs(change) else 1
            by = float(f"{1e3 * abs(back.length_m - told.length_m):.{known}g}")
            words = f"about {round(2 * by) / 2:g} mm" if by >= 0.25 else "less than half a mm"
            way = self._way(f"draw {name} out", f"squeeze {name}")
            return f"{first}{way} by {words}{bought}"
        fewer = told.turns - back.turns
        how = f"take {fewer} turn{'s' * (fewer > 1)} off {name}"
        if fewer < 0:
            how = f"wind {name} anew with {back.turns} turns in place of {told.turns}"
        return f"{first}{how}, and bring it to {back.ruler_mm:g} mm{bought}"

    def _as_wound(self, told: Winding) -> str:
        """That a coil is to be looked at for what it was to be."""
        now, reads = told.length_at(1 / (1 + self.in_place[0]), told.turns), ""
        if now > told.turns * told.wire_m:
            reads = f" (at about {about(1e3 * now)} mm it would read so)"
        made = f"{told.turns} turns, {told.ruler_mm:g} mm long"
        way = self._way(
            "draw it out to that if it is shorter", "squeeze it to that if it is longer"
        )
        return f"see first that {self.name} is {made}, and {way}{reads}"

    def _way(self, above: str, below: str) -> str:
        return above if self.in_place[0] > 0 else below

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
        step = 10 ** np.floor(np.log10(half)) / 2
        return f"{self.name} within ± {np.ceil(half / step) * step:g} %"


@dataclass(frozen=True, eq=False)
class Other:
    """What else than a part's value may be what is read: a changed load, or a part that loses."""

    words: str
    misfit: float
    row: int  # of the explanation
    kinds: int = 0  # of change of the load that come together; 0 where a part loses


NOT_EXPLAINED = (
    "measure the load again before you touch a part: it seems to be no longer what was measured, "
    "for no values of the parts agree with what was read; if it is, look for a wrong or bad "
    "connection, or readings that are worth less than stated",
    "look at {} and {} connections: {}; if they are right, look for a changed load, or readings "
    "that are worth less than stated",
)
FEEL = "feel it after keying, transmitter off, and replace what is warm"
IN_VAIN = "to bring its parts to their values would not clearly lower its SWR"
SEVERAL = (
    "measure the load again, and each part by itself: it has changed, or more than one of them is "
    "off, and this sweep cannot tell which or by how much"
)


def velocity(off: Sequence[Suspect]) -> str:
    """What to do where what is off is all cut from one line, and off by the same share."""
    kinds = {(line.z0, line.velocity_factor) for s in off if (line := s.element.line)}
    if len(off) < 2 or len(kinds) > 1 or any(s.element.line is None for s in off):
        return ""
    changes, sigmas = np.array([(s.change, s.standard_uncertainty) for s in off]).T
    share = float(np.average(changes, weights=sigmas**-2.0))
    length = np.array([float(s.element.value) for s in off])
    alike = np.abs(changes - share) * length < 3 * sigmas * length + defaults.CUT_M
    ((_, taken),) = kinds
    found = taken / (1 + share)
    if not np.all(alike) or np.any(abs(share) * length < 2 * defaults.CUT_M) or found > 1:
        return ""
    names = " and ".join(s.name for s in off)
    pieces = " and ".join(
        f"{1e3 * one / (1 + share):.0f} mm for {s.name}" for s, one in zip(off, length, strict=True)
    )
    return (
        f"measure the velocity factor of the cable: {names} read as cut from one of {found:.2f}, "
        f"where {taken:g} was taken; of that cut {pieces}"
    )


def _untouched(
    verdict: str, off: Sequence[Suspect], load: str, loss: str, setting: str
) -> str | None:
    """What is said, as of `told`, where no part is to be mended whatever it would bring."""
    names, others = (" and ".join(w) for w in ([s.name for s in off], [s.other() for s in off]))
    return {
        "changed load": "measure the load again before you touch a part: "
        + ", or ".join(filter(None, (load and f"it seems to have changed ({load})", loss)))
        + (f": {FEEL}; no value of a part" if loss else ", and no part")
        + f" explains the readings as well{setting and f'; if it stays so, {setting}'}",
        "unexplained": NOT_EXPLAINED[1].format(names, "their" if off[1:] else "its", others)
        if off
        else NOT_EXPLAINED[0],
        "undecided": "" if off else SEVERAL,
    }.get(verdict)


def _to_do(verdict: str, off: Sequence[Suspect], seem: str) -> str:
    """What is to be mended, and why."""
    if verdict == "leads":
        hands = "; ".join(s.by_hand() for s in off)
        seem = " and ".join(f"{s.name} reads {about(100 * s.in_place[0])} % too large" for s in off)
        return f"{hands}: {seem}, by its leads or by itself, which the readings cannot tell"
    cures = [f"{s.by_hand()}: it is {s.size()}" for s in off]
    if verdict != "undecided":
        return "; ".join(cures)
    names = " or ".join(s.name for s in off[:2])
    return (
        f"measure {names} by itself; then {'; or '.join(cures)}. Until then the readings cannot "
        "tell which, the likelier first"
    )


def told(
    verdict: str,
    off: Sequence[Suspect],
    others: Sequence[Other],
    promised: float | None,
    setting: str,
    *,
    few: bool,
) -> str:
    """What to do by the verdict, and why.

    `others` would look alike; `promised` as in `Trim`; `setting` is what to set where nothing is to
    be mended; with `few` readings a changed load may always look like a part.
    """
    load = " or ".join([o.words for o in others if o.kinds][:MOST_ALIKE])
    loss = ", or ".join(o.words for o in others if not o.kinds)
    seem = f" {'and' if verdict == 'several parts' else 'or'} ".join(
        f"{s.name} is {s.size()}" for s in off
    )
    if off and promised is not None and np.isnan(promised):
        or_load = load and f"; a load that has changed ({load}) would look alike"
        return f"{setting or IN_VAIN}: {seem}{or_load}"
    if said := _untouched(verdict, off, load, loss, setting):
        return said
    again = ""
    # nor can leads be told from more of X in series with the load
    if load or few or verdict == "leads":
        again = (
            f"measure the load again first: a load that has changed would look alike"
            f"{load and f' ({load})'}; if it is as it was, "
        )
    return f"{again}{_to_do(verdict, off, seem)}"
