"""Networks over a band: worst SWR, loss, bandwidth, and all topologies in order of merit."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import permutations, product

import numpy as np

from rfcal.errors import MatchingError
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.models.line import Line
from rfcal.tasks.matching import lines, lumped
from rfcal.tasks.matching.network import Network
from rfcal.tasks.matching.search import search, worst
from rfcal.tasks.matching.stock import Stock


@dataclass(frozen=True, eq=False)
class Bandwidth:
    """Where the SWR about the centre stays within a limit.

    Parameters
    ----------
    low_hz, high_hz : float
        Edges [Hz]; both the centre where the limit is exceeded there.
    cut : bool
        True where the sweep ends before the SWR reaches the limit, so that it is at least this.
    """

    low_hz: float
    high_hz: float
    cut: bool

    @property
    def width_hz(self) -> float:
        """Distance of the edges [Hz]."""
        return self.high_hz - self.low_hz


def bandwidth(frequency: Real, ratio: Real, limit: float, centre_hz: float) -> Bandwidth:
    """The band about a centre in which the SWR is within a limit.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz], ascending.
    ratio : ndarray, shape (F,)
        SWR [1].
    limit : float
        Largest SWR [1].
    centre_hz : float
        Where to start from [Hz].

    Returns
    -------
    Bandwidth
        Edges interpolated between points, in the magnitude of the reflection.
    """
    over = np.where(np.isinf(ratio), 1.0, (ratio - 1) / (ratio + 1)) - (limit - 1) / (limit + 1)
    if np.interp(centre_hz, frequency, over) > 0:
        return Bandwidth(centre_hz, centre_hz, False)

    def edge(order: slice) -> tuple[float, bool]:
        f, o = frequency[order], over[order]
        beyond = np.flatnonzero((f > centre_hz if order.step == 1 else f < centre_hz) & (o > 0))
        if not beyond.size:
            return float(f[-1]), True
        k = beyond[0]
        if k == 0 or o[k - 1] > 0:  # the crossing lies between the centre and its neighbour
            start, height = centre_hz, float(np.interp(centre_hz, frequency, over))
        else:
            start, height = f[k - 1], o[k - 1]
        return float(start + (f[k] - start) * -height / (o[k] - height)), False

    (low, cut_low), (high, cut_high) = edge(slice(None, None, -1)), edge(slice(None, None, 1))
    return Bandwidth(low, high, cut_low or cut_high)


@dataclass(frozen=True, eq=False)
class Candidate:
    """A network of real parts, judged over the sweep.

    Parameters
    ----------
    network : Network
        Of parts in stock.
    ideal : Network
        The design that it comes from, without loss.
    worst_swr : float
        Largest SWR in the band [1].
    loss_db : float
        Largest loss in the band [dB], reflection at the input left out.
    swr, ideal_swr : ndarray, shape (F,)
        Over the whole sweep [1].
    losses_db : ndarray, shape (K,)
        Loss of each part at the centre [dB].
    at_1_5, at_2 : Bandwidth
        At SWR 1.5 and 2.
    meets : bool
        True where the worst SWR is within the target.
    """

    network: Network
    ideal: Network
    worst_swr: float
    loss_db: float
    swr: Real
    ideal_swr: Real
    losses_db: Real
    at_1_5: Bandwidth
    at_2: Bandwidth
    meets: bool


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


@dataclass(frozen=True, eq=False)
class Goal:
    """What is asked for, with the load that it is asked for.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies of the sweep [Hz], ascending.
    load : ndarray, shape (F,)
        Load impedance [ohm].
    centre_hz : float
        Design frequency [Hz].
    band_hz : tuple of (float, float)
        Band [Hz].
    target_ohm : float
        Resistance wanted [ohm].
    target_swr : float
        Largest SWR wanted in the band [1].

    Raises
    ------
    MatchingError
        A band or centre outside the sweep, or a load in the band that nothing matches.
    """

    frequency: Real
    load: Complex
    centre_hz: float
    band_hz: tuple[float, float]
    target_ohm: float = 50.0
    target_swr: float = 1.5

    def __post_init__(self) -> None:
        low, high = self.band_hz
        first, last = self.frequency[0], self.frequency[-1]
        if not first <= low <= self.centre_hz <= high <= last:
            raise MatchingError(
                f"the band from {low / 1e6:.6g} to {high / 1e6:.6g} MHz with its centre at "
                f"{self.centre_hz / 1e6:.6g} MHz must lie in order within the sweep from "
                f"{first / 1e6:.6g} to {last / 1e6:.6g} MHz: measure the band, or ask for less"
            )
        for f, z in zip(*self.in_band(), strict=True):
            lumped.check_load(complex(z), f"at {f / 1e6:.6g} MHz")

    def load_at(self, frequency: Real, load: Complex | None = None) -> Complex:
        """The load between the points of the sweep.

        Parameters
        ----------
        frequency : ndarray, shape (M,)
            Frequencies within the sweep [Hz].
        load : ndarray, shape (..., F), optional
            Load impedances on the sweep's frequencies [ohm]; the goal's by default.

        Returns
        -------
        ndarray, shape (..., M)
            Impedance [ohm], its reflection interpolated along straight lines.
        """
        reflection = from_impedance(self.load if load is None else load, self.target_ohm)
        k = np.clip(np.searchsorted(self.frequency, frequency), 1, self.frequency.size - 1)
        left, right = self.frequency[k - 1], self.frequency[k]
        share = (frequency - left) / (right - left)
        between = (1 - share) * reflection[..., k - 1] + share * reflection[..., k]
        return to_impedance(between, self.target_ohm)

    def in_band(self) -> tuple[Real, Complex]:
        """The sweep's points in the band, and the band's edges.

        Returns
        -------
        frequency : ndarray, shape (M,)
            Frequencies [Hz].
        load : ndarray, shape (M,)
            Load impedance [ohm].
        """
        low, high = self.band_hz
        inside = self.frequency[(self.frequency > low) & (self.frequency < high)]
        f = np.unique(np.concatenate([[low, high], inside]))
        return f, self.load_at(f)

    def centre_load(self) -> complex:
        """The load at the design frequency.

        Returns
        -------
        complex
            Impedance [ohm].
        """
        return complex(self.load_at(np.array([self.centre_hz]))[0])


def _q(high: float, low: float) -> float:
    """A Q that leaves the L section at the least Q behind, where none is asked for."""
    return float(np.sqrt(max(high, low) / min(high, low)))


Design = Callable[[], tuple[Network, ...]]


def designs(goal: Goal, available: Sequence[Line], q: float | None) -> Iterator[tuple[str, Design]]:
    """Every topology with what is to be varied in it.

    Parameters
    ----------
    goal : Goal
        What is asked for.
    available : sequence of Line
        Lines in stock.
    q : float, optional
        Q of pi and T sections [1].

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
    yield "pi", partial(lumped.pi_section, *given, q=at_node)
    yield "T", partial(lumped.t_section, *given, q=in_branch)
    if not available:
        return
    whole = [replace(line, conductor_db=0.0, dielectric_db=0.0) for line in available]
    main = min(whole, key=lambda line: abs(line.z0 - target))
    for end, place in product(("open", "short"), ("shunt", "series")):
        yield f"{place} stub", partial(lines.single_stub, *given, line=main, place=place, end=end)
    for end, waves in product(("open", "short"), (1 / 8, 3 / 8)):
        yield (
            "double stub",
            partial(lines.double_stub, *given, line=main, end=end, spacing_waves=waves),
        )
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


def judge(goal: Goal, network: Network, ideal: Network) -> Candidate:
    """What a network does over the sweep.

    Parameters
    ----------
    goal : Goal
        What is asked for.
    network : Network
        Of real parts.
    ideal : Network
        The design without loss.

    Returns
    -------
    Candidate
        The network with its figures.
    """
    f, z = goal.in_band()
    ratio = float(swr(worst(network, f, z, goal.target_ohm)))
    curve, plain = (
        swr(n.seen(goal.frequency, goal.load, z_ref=goal.target_ohm)) for n in (network, ideal)
    )
    centre = np.array([goal.centre_hz])
    return Candidate(
        network,
        ideal,
        ratio,
        float(network.losses_db(f, z).sum(axis=0).max()),
        curve,
        plain,
        network.losses_db(centre, np.array([goal.centre_load()]))[:, 0],
        bandwidth(goal.frequency, curve, 1.5, goal.centre_hz),
        bandwidth(goal.frequency, curve, 2.0, goal.centre_hz),
        ratio <= goal.target_swr,
    )


def rank(
    goal: Goal,
    *,
    stock: Stock | None = None,
    topologies: Sequence[str] = TOPOLOGIES,
    q: float | None = None,
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

    Returns
    -------
    Ranking
        Candidates, and the reasons of what is refused.

    Raises
    ------
    MatchingError
        A topology that is not known.
    """
    stock = stock or Stock()
    for name in topologies:
        if name not in TOPOLOGIES:
            raise MatchingError(f"topology '{name}' is not known: take of {', '.join(TOPOLOGIES)}")
    f, z = goal.in_band()
    found: dict[tuple, tuple[Network, Network]] = {}
    refused: dict[str, str] = {}
    built = set()
    for name, design in designs(goal, stock.lines, q):
        if name not in topologies:
            continue
        try:
            ideals = design()
        except MatchingError as error:
            refused.setdefault(name, str(error))
            continue
        for ideal in ideals:
            if lack := stock.lacks(ideal):
                refused.setdefault(name, lack)
                continue
            for real in stock.realise(ideal):
                chosen = search(real, f, z, stock=stock, z_ref=goal.target_ohm, free=q is None)
                key = (
                    chosen.topology,
                    *(
                        (e.place, type(e.part), f"{e.value:.6e}", e.line and e.line.z0)
                        for e in chosen.elements
                    ),
                )
                found.setdefault(key, (chosen, ideal))
                built.add(name)
    candidates = [judge(goal, *pair) for pair in found.values()]
    candidates.sort(key=lambda c: (not c.meets, c.loss_db if c.meets else c.worst_swr))
    raw = swr(from_impedance(goal.load, goal.target_ohm))
    return Ranking(tuple(candidates), {n: why for n, why in refused.items() if n not in built}, raw)
