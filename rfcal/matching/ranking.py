"""All topologies with parts that exist, in the order in which a builder would take them.

By the power that reaches the load, then by what they take. Loss is never a way to a low SWR: it
counts as lost, whatever it does to the reflection.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.designs import Point
from rfcal.matching.goal import Candidate, Goal, judge
from rfcal.matching.network import SECTION, Network
from rfcal.matching.parts import Inductor
from rfcal.matching.search import best_in_stock
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import CHOSEN, TOPOLOGIES, Design, Task
from rfcal.maths.reflection import swr

T = TypeVar("T")
NO_NETWORK = Network.of("nothing", [])
UNNOTICED = 0.01
"""A part that lowers the largest reflection by less does nothing [1]."""
ALIKE = 0.05
"""Values that differ by less are those of one network [1, relative]."""
IDLE = "it would do nothing here", "a part of it would do nothing here: take a simpler one"
WASTEFUL = (
    f"it would lose over {defaults.MUCH_LOSS_DB:g} dB, where another network or none delivers more"
)
MUCH_CABLE = f"it would take over {defaults.MUCH_CABLE_M:g} m of cable, where less does better"
LINE_EFFORT = 1.5
"""What a piece of line takes beside a coil or a capacitor [1] (common practice, no source)."""
METRE_EFFORT = 0.1
"""And each metre of it [1/m] (common practice, no source)."""

LOW_PASS_EASE = 0.1
"""What a low-pass is better than a high-pass of as many parts [1]: it keeps a transmitter's
harmonics back (common practice, no source)."""


class Group(IntEnum):
    """Networks that are offered one after the other, whatever they lose."""

    HOLDS = 0  # the target over the band, by parts that are easy to build
    AWKWARD = 1  # it holds, by a stub that floats or by much cable
    BY_A_HAIR = 2  # it holds, but too few of such networks would
    MISSES = 3  # the target, and delivers more than no network would
    BELOW = 4  # no network would deliver more


def effort(network: Network) -> float:
    """What it takes to build, in coils and capacitors [1]."""
    ease = LOW_PASS_EASE if network.form == "low-pass" else 0.0
    return -ease + sum(
        1.0 if e.line is None else LINE_EFFORT + METRE_EFFORT * float(e.value)
        for e in network.elements
    )


def _much_cable(network: Network) -> bool:
    cable_m = sum(float(e.value) for e in network.elements if e.line is not None)
    return cable_m > defaults.MUCH_CABLE_M


@dataclass(frozen=True, eq=False)
class Ranking:
    """All candidates, best first, and why some topologies are not among them."""

    candidates: tuple[Candidate, ...]  # as they came, until they are `ordered`
    refused: dict[str, str]  # topology and reason
    raw_worst_swr: float  # the largest SWR in the band without any network [1]
    raw_lost_db: float  # what no network loses there, by the mismatch alone
    target_swr: float  # that was asked for [1]

    @property
    def nothing_needed(self) -> bool:
        """Whether the load holds the target as it is."""
        return self.raw_worst_swr <= self.target_swr

    @property
    def least_db(self) -> float:
        """Lost with the candidate that delivers most [dB]."""
        return min((c.lost_db for c in self.candidates), default=self.raw_lost_db)

    def group(self, candidate: Candidate) -> Group:
        """Where a candidate stands among them."""
        if candidate.lost_db >= self.raw_lost_db:
            return Group.BELOW
        # what holds the SWR by twice the loss of another does so by its loss
        if not candidate.meets or candidate.lost_db > self.least_db + defaults.MUCH_LOSS_DB:
            return Group.MISSES
        network = candidate.network
        return Group.AWKWARD if network.floats or _much_cable(network) else Group.HOLDS

    def ordered(self) -> "Ranking":
        """By merit, without those that lose or take too much where another or none does better."""
        worse = min(self.raw_lost_db, self.least_db + defaults.MUCH_LOSS_DB)
        holding = (c.lost_db for c in self.candidates if self.group(c) == Group.HOLDS)
        easy = min(holding, default=np.inf)
        left_out: dict[str, str] = {}
        kept = []
        for one in self.candidates:
            if one.loss_db > defaults.MUCH_LOSS_DB and one.lost_db > worse:
                left_out[one.network.topology] = WASTEFUL
            elif _much_cable(one.network) and one.lost_db > easy:
                left_out[one.network.topology] = MUCH_CABLE
            else:
                kept.append(one)
        found = by_merit(
            kept,
            lambda c: (
                self.group(c),
                c.lost_db,
                1.0,
                (effort(c.network), round(c.worst_swr, 1), c.lost_db),
            ),
        )
        names = {c.network.topology for c in found}
        why = {name: reason for name, reason in left_out.items() if name not in names}
        return replace(self, candidates=tuple(found), refused=self.refused | why)

    def worth(self, candidate: Candidate) -> bool:
        """Whether anybody would build it: it meets the target, or is half-way there at least.

        By the power that arrives. Where nothing is needed it must bring more, as where it misses.
        """
        if candidate.meets and not self.nothing_needed:
            return True
        bare, here = (10 ** (-db / 10) for db in (self.raw_lost_db, candidate.lost_db))
        # 1 - |r|^2 at the target
        held = 4 * self.target_swr / (1 + self.target_swr) ** 2
        gain = self.raw_lost_db - candidate.lost_db
        return gain > defaults.POWER_STEP_DB and here > (bare + held) / 2

    def short(self) -> tuple[Candidate, ...]:
        """The best candidate of every topology, for a short list; no network under two names."""
        best: dict[str, Candidate] = {}
        for candidate in self.candidates:
            if not any(_alike(candidate.network, other.network) for other in best.values()):
                best.setdefault(candidate.network.topology, candidate)
        return tuple(best.values())


def _one_piece(network: Network) -> bool:
    """Whether two pieces of one line follow each other, so that they are one."""
    pieces = [e.line if e.place == SECTION else None for e in network.elements]
    return any(
        a and b and np.isclose(a.z0, b.z0) and a.velocity_factor == b.velocity_factor
        for a, b in pairwise(pieces)
    )


def _idle(goal: Goal, network: Network) -> bool:
    """Whether a part could be left out and hardly anybody would notice."""
    band, elements = (*goal.in_band(), goal.target_ohm), network.elements
    others = (
        replace(network, elements=elements[:k] + elements[k + 1 :]) for k in range(len(elements))
    )
    return any(other.worst(*band) < network.worst(*band) + UNNOTICED for other in others)


def _alike(one: Network, other: Network) -> bool:
    """Whether two networks are of the same parts in the same places, but for some percent."""
    return len(one.elements) == len(other.elements) and all(
        a.place == b.place
        and type(a.part) is type(b.part)
        and (a.line and a.line.z0) == (b.line and b.line.z0)
        and getattr(a.part, "end", "") == getattr(b.part, "end", "")
        and np.isclose(a.value, b.value, rtol=ALIKE)
        for a, b in zip(one.elements, other.elements, strict=True)
    )


def by_merit(
    items: Iterable[T], standing: Callable[[T], tuple[Group, float, float, Any]]
) -> list[T]:
    """Items group by group: of those within a step of the most power, the least effort first.

    And of those only what holds within a step of the most that hold. The `standing` of one is its
    group, what it loses [dB], how many hold [1], and its effort and what else decides.
    """
    left, found = [(standing(one), one) for one in items], []
    while left:
        first = min(group for (group, *_), _ in left)
        near = min(lost for (group, lost, *_), _ in left if group == first) + defaults.POWER_STEP_DB
        here = [pair for pair in left if pair[0][0] == first and pair[0][1] <= near]
        sure = max(pair[0][2] for pair in here) - defaults.YIELD_STEP
        best = min((p for p in here if p[0][2] >= sure), key=lambda pair: pair[0][3])
        found.append(best[1])
        left.remove(best)
    return found


def rank(
    goal: Goal,
    *,
    stock: Stock | None = None,
    topologies: Collection[str] = TOPOLOGIES,
    q: float | None = None,
    phase_rad: float | None = None,
) -> Ranking:
    """All topologies with parts that exist, in order of merit; pi and T of a Q or a phase [rad]."""
    stock = replace(stock or Stock(), frequency_hz=goal.centre_hz)
    at = Point(goal.centre_hz, goal.centre_load(), goal.target_ohm)
    lines = tuple(replace(a, conductor_db=0.0, dielectric_db=0.0) for a in stock.lines)
    task = Task(at, goal.target_swr, lines, q, phase_rad)
    found: list[Candidate] = []
    refused: dict[str, str] = {}
    for name in (one for one in TOPOLOGIES if one in topologies):
        free = name not in CHOSEN or (q is None and phase_rad is None)
        candidates, why = _tried(TOPOLOGIES[name](task), goal, stock, free)
        found += candidates
        if why and not candidates:
            refused[name] = why
    height, lost = map(float, NO_NETWORK.heights(*goal.in_band(), goal.target_ohm))
    return Ranking(tuple(found), refused, float(swr(height)), lost, goal.target_swr).ordered()


def _tried(
    designs: Iterable[Design], goal: Goal, stock: Stock, free: bool
) -> tuple[list[Candidate], str]:
    """Networks of parts in stock, and the first reason why one is refused; mostly nothing."""
    band, found, why = goal.in_band(), list[Candidate](), ""
    for design in designs:
        try:
            ideals = design()
        except MatchingError as error:
            ideals, why = (), why or str(error)
        for ideal in ideals:
            lack = stock.lacks(ideal)
            why = why or lack
            for real in (r for r in stock.realise(ideal) if not (lack or _one_piece(r))):
                best = stock.wound(best_in_stock(real, goal, stock, free=free), *band)
                if free and any(isinstance(e.part, Inductor) for e in best.elements):
                    # a coil of another value and wire has another capacitance of its own
                    best = stock.wound(best_in_stock(best, goal, stock, anew=False), *band)
                if _idle(goal, best):
                    why = why or IDLE[len(best.elements) > 1]
                else:
                    found.append(judge(goal, best, ideal))
    return found, why
