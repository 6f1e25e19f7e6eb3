"""All topologies with parts that exist, in order of merit."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise, permutations, product

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching import lines, lumped
from rfcal.matching.element import SECTION
from rfcal.matching.goal import Candidate, Goal, judge
from rfcal.matching.network import Network
from rfcal.matching.search import search, worst
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Real, from_impedance, swr
from rfcal.models.line import Line

UNNOTICED = 0.002
"""A part that lowers the largest reflection by less does nothing [1]."""


@dataclass(frozen=True, eq=False)
class Ranking:
    """All candidates, best first, and why some topologies are not among them.

    Parameters
    ----------
    candidates : tuple of Candidate
        Those that meet the target by their loss, then the others by their worst SWR.
    refused : dict of str to str
        Topology and reason.
    raw_swr : ndarray, shape (F,)
        SWR without any network [1].
    """

    candidates: tuple[Candidate, ...]
    refused: dict[str, str]
    raw_swr: Real

    def short(self) -> tuple[Candidate, ...]:
        """The best candidate of every topology, for a short list.

        Returns
        -------
        tuple of Candidate
            Best first.
        """
        best: dict[str, Candidate] = {}
        for candidate in self.candidates:
            best.setdefault(candidate.network.topology, candidate)
        return tuple(best.values())


def _q(high: float, low: float) -> float:
    """A Q that leaves the L section at the least Q behind, where none is asked for."""
    return float(np.sqrt(max(high, low) / min(high, low)))


Design = Callable[[], tuple[Network, ...]]


def _double(
    given: tuple[float, complex, float], line: Line, end: str, spacing_waves: float
) -> tuple[Network, ...]:
    """Two stubs, the first at the load or else at the nearest eighth of a wave that will do."""
    refusals = []
    for first in (0.0, 0.125, 0.25, 0.375):
        try:
            return lines.double_stub(
                *given, line=line, end=end, spacing_waves=spacing_waves, first_waves=first
            )
        except MatchingError as error:
            refusals.append(error)
    raise refusals[0]


def _by_phase(given: tuple[float, complex, float], phase_rad: float, which: int) -> Design:
    return lambda: (lumped.by_phase(*given, phase_rad=phase_rad)[which],)


def designs(
    goal: Goal, available: Sequence[Line], q: float | None, phase_rad: float | None = None
) -> Iterator[tuple[str, Design]]:
    """Every topology with what is to be varied in it.

    Parameters
    ----------
    goal : Goal
        What is asked for.
    available : sequence of Line
        Lines in stock.
    q : float, optional
        Q of pi and T sections [1].
    phase_rad : float, optional
        Phase of pi and T sections [rad], in place of a Q.

    Yields
    ------
    topology : str
        Its name.
    design : callable
        Without arguments; returns networks, or raises MatchingError.
    """
    z, target = goal.centre_load(), goal.target_ohm
    given = (goal.centre_hz, z, target)
    yield "single", partial(lumped.single, *given, enough_swr=goal.target_swr)
    yield "L", partial(lumped.l_section, *given)
    at_node, in_branch = q or _q(1 / (1 / z).real, target), q or _q(z.real, target)
    if phase_rad is None:
        yield "pi", partial(lumped.pi_section, *given, q=at_node)
        yield "T", partial(lumped.t_section, *given, q=in_branch)
    else:
        yield "pi", _by_phase(given, phase_rad, 0)
        yield "T", _by_phase(given, phase_rad, 1)
    if not available:
        return
    whole = [replace(line, conductor_db=0.0, dielectric_db=0.0) for line in available]
    main = min(whole, key=lambda line: abs(line.z0 - target))
    for end, place in product(("open", "short"), ("shunt", "series")):
        yield f"{place} stub", partial(lines.single_stub, *given, line=main, place=place, end=end)
    for end, waves in product(("open", "short"), (1 / 8, 3 / 8)):
        yield "double stub", partial(_double, given, main, end, waves)
    yield "quarter wave", partial(lines.quarter_wave, *given, line=main)
    for near, far in permutations(whole, 2):
        yield "two sections", partial(lines.two_sections, *given, near=near, far=far)


TOPOLOGIES = (
    "single",
    "L",
    "pi",
    "T",
    "shunt stub",
    "series stub",
    "double stub",
    "quarter wave",
    "two sections",
)
"""Names for `rank`."""


def _built(
    ideals: Sequence[Network], goal: Goal, stock: Stock, free: bool
) -> Iterator[tuple[Network, Network]]:
    """Every design in parts of the stock; refused where none of them can be had."""
    lacks = [stock.lacks(ideal) for ideal in ideals]
    if all(lacks):
        raise MatchingError(lacks[0])
    for ideal in (i for i, lack in zip(ideals, lacks, strict=True) if not lack):
        for real in stock.realise(ideal):
            if _one_piece(real):
                continue
            chosen = search(real, *goal.in_band(), stock=stock, z_ref=goal.target_ohm, free=free)
            # where values have moved, the design's Q or spacing is no longer the network's
            yield replace(chosen, note="") if free else chosen, ideal


def _one_piece(network: Network) -> bool:
    """Whether two pieces of one line follow each other, so that they are one."""
    pieces = [e.line if e.place == SECTION and not e.fixed else None for e in network.elements]
    return any(
        a and b and np.isclose(a.z0, b.z0) and a.velocity_factor == b.velocity_factor
        for a, b in pairwise(pieces)
    )


def _idle(goal: Goal, network: Network) -> bool:
    """Whether a part could be left out and hardly anybody would notice."""
    band, elements = goal.in_band(), network.elements
    if len(elements) < 2:
        return False
    with_all = worst(network, *band, goal.target_ohm)
    return any(
        worst(replace(network, elements=elements[:k] + elements[k + 1 :]), *band, goal.target_ohm)
        < with_all + UNNOTICED
        for k in network.free()
    )


def _signature(network: Network) -> tuple:
    """What two networks have in common that are the same."""
    return network.topology, *(
        (e.place, type(e.part), f"{e.value:.6e}", e.line and e.line.z0) for e in network.elements
    )


def rank(
    goal: Goal,
    *,
    stock: Stock | None = None,
    topologies: Sequence[str] = TOPOLOGIES,
    q: float | None = None,
    phase_rad: float | None = None,
) -> Ranking:
    """All topologies with parts that exist, in order of merit.

    Parameters
    ----------
    goal : Goal
        Load, band and target.
    stock : Stock, optional
        What can be bought and cut.
    topologies : sequence of str
        Names out of `TOPOLOGIES`.
    q : float, optional
        Q of pi and T sections [1], from which values are not moved far; a low one by default, from
        which they go where the band is best.
    phase_rad : float, optional
        How far the load side of pi and T sections lags [rad], as for `lumped.by_phase`, in place of
        a Q; values are not moved far from it either.

    Returns
    -------
    Ranking
        Candidates, and the reasons of what is refused.

    Raises
    ------
    MatchingError
        A topology that is not known, or both a Q and a phase.
    """
    if q is not None and phase_rad is not None:
        raise MatchingError("a pi or T section has a chosen Q or a chosen phase, not both")
    chosen = () if q is None and phase_rad is None else ("pi", "T")
    stock = stock or Stock()
    for name in topologies:
        if name not in TOPOLOGIES:
            raise MatchingError(f"topology '{name}' is not known: take of {', '.join(TOPOLOGIES)}")
    found: dict[tuple, tuple[Network, Network]] = {}
    refused: dict[str, str] = {}
    built = set()
    for name, design in designs(goal, stock.lines, q, phase_rad):
        if name not in topologies:
            continue
        try:
            for real, ideal in _built(design(), goal, stock, name not in chosen):
                if _idle(goal, real):
                    refused.setdefault(
                        name, "a part of it would do nothing here: take a simpler one"
                    )
                    continue
                found.setdefault(_signature(real), (real, ideal))
                built.add(name)
        except MatchingError as error:
            refused.setdefault(name, str(error))
    candidates = [judge(goal, *pair) for pair in found.values()]
    candidates.sort(key=lambda c: (not c.meets, c.loss_db if c.meets else c.worst_swr))
    raw = swr(from_impedance(goal.load, goal.target_ohm))
    return Ranking(tuple(candidates), {n: why for n, why in refused.items() if n not in built}, raw)
