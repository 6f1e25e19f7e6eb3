"""All topologies with parts that exist, in order of merit."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.designs import Point
from rfcal.matching.element import SECTION
from rfcal.matching.goal import Candidate, Goal, judge
from rfcal.matching.merit import Group, group, in_order
from rfcal.matching.network import Network
from rfcal.matching.parts import Inductor
from rfcal.matching.search import best_in_stock
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import TOPOLOGIES, Design, Task
from rfcal.maths.reflection import swr

NOTHING = Network.of("nothing", [])
UNNOTICED = 0.01
"""A part that lowers the largest reflection by less does nothing [1]."""
ALIKE = 0.05
"""Values that differ by less are those of one network [1, relative]."""
IDLE = "it would do nothing here", "a part of it would do nothing here: take a simpler one"


@dataclass(frozen=True, eq=False)
class Ranking:
    """All candidates, best first, and why some topologies are not among them."""

    candidates: tuple[Candidate, ...]  # as `rfcal.matching.merit` orders them
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
        return group(candidate, self.raw_lost_db, self.least_db)

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
    task = Task(at, goal.target_swr, stock.lines, q, phase_rad)
    chosen = q is not None or phase_rad is not None
    networks, refused = _all_tried(task, goal, stock, topologies, chosen)
    height, lost = map(float, NOTHING.heights(*goal.in_band(), goal.target_ohm))
    candidates, wasteful = in_order([judge(goal, *pair) for pair in networks], lost)
    return Ranking(candidates, refused | wasteful, float(swr(height)), lost, goal.target_swr)


def _all_tried(
    task: Task, goal: Goal, stock: Stock, topologies: Collection[str], chosen: bool
) -> tuple[list[tuple[Network, Network]], dict[str, str]]:
    """Networks of all topologies, and why there is none of some."""
    found: list[tuple[Network, Network]] = []
    refused: dict[str, str] = {}
    for name in (one for one in TOPOLOGIES if one in topologies):
        topology = TOPOLOGIES[name]
        tried = [*_tried(topology.designs(task), goal, stock, not (topology.chosen and chosen))]
        networks = [one for one in tried if not isinstance(one, str)]
        found += networks
        if not networks and tried:
            refused[name] = str(tried[0])
    return found, refused


def _tried(
    designs: Iterable[Design], goal: Goal, stock: Stock, free: bool
) -> Iterator[tuple[Network, Network] | str]:
    """Networks of parts in stock, each with its ideal design, or why one is refused."""
    band = goal.in_band()
    for design in designs:
        try:
            ideals = design()
        except MatchingError as error:
            yield str(error)
            continue
        for ideal in ideals:
            if lack := stock.lacks(ideal):
                yield lack
                continue
            for real in (r for r in stock.realise(ideal) if not _one_piece(r)):
                best = stock.wound(best_in_stock(real, goal, stock, free=free), *band)
                if free and any(isinstance(e.part, Inductor) for e in best.elements):
                    # a coil of another value and wire has another capacitance of its own
                    best = stock.wound(best_in_stock(best, goal, stock, anew=False), *band)
                yield IDLE[len(best.elements) > 1] if _idle(goal, best) else (best, ideal)
