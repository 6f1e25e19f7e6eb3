"""Networks over a band: what is asked for, and what a network gives: SWR, loss, bandwidth."""

from dataclasses import dataclass

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching.lumped import check_load
from rfcal.matching.network import Network
from rfcal.matching.search import worst
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.models.interpolation import SAME
from rfcal.uncertainty.quantity import Quantity

MOVES = 1 / 3
"""Reflection that a match to one point of a sweep may leave at the next [1]: SWR 2."""
SPARE = 0.75
"""Of the step that would just do, so much is asked for [1]."""


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
    finite = np.where(np.isinf(ratio), 1.0, ratio)
    size = np.where(np.isinf(ratio), 1.0, (finite - 1) / (finite + 1))
    over = size - (limit - 1) / (limit + 1)
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
        A band or centre outside the sweep by more than rounding, or a load in the band that nothing
        matches.
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
        within = first * (1 - SAME) <= low and high <= last * (1 + SAME)
        if low == high and not within:
            raise MatchingError(
                f"{low / 1e6:.6g} MHz is outside the sweep, which has {first / 1e6:.6g} to "
                f"{last / 1e6:.6g} MHz: measure there, or ask for a frequency within"
            )
        if not (within and low <= self.centre_hz <= high):
            raise MatchingError(
                f"the band from {low / 1e6:.6g} to {high / 1e6:.6g} MHz with its centre at "
                f"{self.centre_hz / 1e6:.6g} MHz must lie in order within the sweep from "
                f"{first / 1e6:.6g} to {last / 1e6:.6g} MHz: measure the band, or ask for less"
            )
        for f, z in zip(*self.in_band(), strict=True):
            check_load(complex(z), f"at {f / 1e6:.6g} MHz")

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
        if self.frequency.size == 1:
            return to_impedance(np.repeat(reflection, frequency.size, axis=-1), self.target_ohm)
        frequency = np.clip(frequency, self.frequency[0], self.frequency[-1])
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
        low, high = np.clip(self.band_hz, self.frequency[0], self.frequency[-1])
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


def step_needed(goal: Goal, reflection: Quantity) -> float | None:
    """The step of a sweep that would tell the load between its points.

    Parameters
    ----------
    goal : Goal
        Its sweep and band.
    reflection : Quantity
        Reflection of the load [1], of any reference impedance.

    Returns
    -------
    float or None
        Step [Hz]; None where the load moves so little from point to point in the band, or no
        further than noise takes it, that straight lines between them will do.
    """
    frequency, (low, high) = goal.frequency, goal.band_hz
    one, other = reflection.value[:-1], reflection.value[1:]
    used = (frequency[1:] > low * (1 + SAME)) & (frequency[:-1] < high * (1 - SAME))
    noise = [np.abs(e.change) ** 2 for e in reflection.effects if e.per_point]
    scatter = sum(noise, np.zeros(frequency.size))
    used &= np.abs(other - one) ** 2 > 16 * (scatter[1:] + scatter[:-1])
    if not np.any(used):
        return None
    # what a network without loss that matches one would see of the other, whatever it is made of
    away = np.abs((other - one)[used] / (1 - one * np.conj(other))[used])
    step = np.diff(frequency)[used]
    k = int(away.argmax())
    # such distances add up as their inverse hyperbolic tangents
    share = np.arctanh(MOVES) / np.arctanh(min(away[k], 0.999))
    # less than the share, for the load does not move evenly from one point to the other
    return float(SPARE * share * step[k]) if share < 1 else None


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
