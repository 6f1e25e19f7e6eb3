"""Networks over a band: what is asked for, and what a network gives: SWR, loss, bandwidth."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.designs import TINY
from rfcal.matching.network import Network
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.models.interpolation import SAME
from rfcal.uncertainty.quantity import Quantity

MOVES = 1 / 3
"""Reflection that a match to one point of a sweep may leave at the next [1]: SWR 2."""
SPARE = 0.75
"""Of the step that would just do, so much is asked for [1]."""


FEW, MOST_SMOOTHED, FINE = 5, 201, 801
"""Points of a sweep that can be smoothed at least and at most, and that a smooth one has."""


@dataclass(frozen=True, eq=False)
class Bandwidth:
    """Where the SWR about the centre stays within a limit."""

    low_hz: float  # both edges are the centre where the limit is exceeded there
    high_hz: float
    cut: bool  # whether the sweep ends before the SWR reaches the limit, so that it is wider

    @property
    def width_hz(self) -> float:
        """Distance of the edges [Hz]."""
        return self.high_hz - self.low_hz


def bandwidth(frequency: Real, size: Real, limit: float, centre_hz: float) -> Bandwidth:
    """The band about a centre in which the SWR of a reflection's size [1] is within a limit.

    Its edges lie between points.
    """
    over = size - (limit - 1) / (limit + 1)
    if np.interp(centre_hz, frequency, over) > 0:
        return Bandwidth(centre_hz, centre_hz, False)
    k = np.flatnonzero((over[1:] > 0) != (over[:-1] > 0))
    # a crossing lies between a point within and one beyond
    at = frequency[k] - over[k] * (frequency[k + 1] - frequency[k]) / (over[k + 1] - over[k])
    below, above = at[at <= centre_hz], at[at > centre_hz]
    low, high = max(below, default=frequency[0]), min(above, default=frequency[-1])
    return Bandwidth(float(low), float(high), not (below.size and above.size))


@dataclass(frozen=True, eq=False)
class Goal:
    """What is asked for, with the load that it is asked for."""

    frequency: Real  # of the sweep [Hz], ascending, shape (F,)
    load: Complex  # [ohm], shape (F,)
    centre_hz: float  # design frequency
    band_hz: tuple[float, float]
    target_ohm: float = defaults.REFERENCE_OHM  # resistance wanted
    target_swr: float = defaults.TARGET_SWR  # largest SWR wanted in the band

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
            if not (np.isfinite(z) and z.real > TINY * abs(z)):
                raise MatchingError(
                    f"the load at {f / 1e6:.6g} MHz takes no power, so nothing can be matched to "
                    "it: look at its connection and at the calibration"
                )

    def load_at(self, frequency: Real, load: Complex | None = None) -> Complex:
        """The load, or draws of it (..., F), at frequencies of the sweep: its reflection's chords.

        Frequencies outside are held at the sweep's ends.
        """
        from scipy.interpolate import interp1d

        reflection = from_impedance(self.load if load is None else load, self.target_ohm)
        if self.frequency.size == 1:
            return to_impedance(np.repeat(reflection, frequency.size, axis=-1), self.target_ohm)
        ends = reflection[..., 0], reflection[..., -1]
        chords = interp1d(self.frequency, reflection, bounds_error=False, fill_value=ends)
        return to_impedance(chords(frequency), self.target_ohm)

    @property
    def inside(self) -> np.ndarray:
        """Which points of the sweep lie in the band, or are next to the design frequency, (F,)."""
        low, high = self.band_hz
        inside = (self.frequency >= low) & (self.frequency <= high)
        inside[np.abs(self.frequency - self.centre_hz).argmin()] = True
        return inside

    @property
    def near(self) -> np.ndarray:
        """Which points of the sweep lie in the band or about it, shape (F,); all where few do."""
        low, high = self.band_hz
        near = np.abs(self.frequency - self.centre_hz) <= max(1.5 * (high - low), 0.02 * high)
        return near if near.sum() >= FEW else np.ones_like(near)

    @cached_property
    def smooth(self) -> tuple[Real, Complex]:
        """Frequencies between the points too, and the load there without its scatter [ohm].

        Of a long sweep what is about the band.
        """
        from scipy.interpolate import make_smoothing_spline

        index = np.flatnonzero(self.near | (self.frequency.size <= MOST_SMOOTHED))
        index = index[:: -(-index.size // MOST_SMOOTHED)]
        count = index.size
        if count < FEW:
            return self.frequency, self.load
        reflection, place = from_impedance(self.load[index], self.target_ohm), np.arange(count)
        at = np.linspace(0, count - 1, max(count, FINE))
        # weighed by generalised cross-validation
        re, im = (make_smoothing_spline(place, part) for part in (reflection.real, reflection.imag))
        frequency = np.interp(at, place, self.frequency[index])
        return frequency, to_impedance(re(at) + 1j * im(at), self.target_ohm)

    def in_band(self) -> tuple[Real, Complex]:
        """Frequencies [Hz] of the sweep in the band and its edges, and the load there [ohm]."""
        low, high = np.clip(self.band_hz, self.frequency[0], self.frequency[-1])
        inside = self.frequency[(self.frequency > low) & (self.frequency < high)]
        f = np.unique(np.concatenate([[low, high], inside]))
        return f, self.load_at(f)

    def retuned(self) -> tuple[float, float]:
        """What X added to the load, to 2 % of the target, makes the worst SWR lowest [ohm, 1]."""
        more = self.target_ohm * np.linspace(-1, 1, 101)
        seen = from_impedance(self.in_band()[1] + 1j * more[:, None], self.target_ohm)
        worst = np.abs(seen).max(axis=-1)
        k = int(worst.argmin())
        return float(more[k]), float(swr(worst[k]))

    def centre_load(self) -> complex:
        """The load at the design frequency [ohm]."""
        return complex(self.load_at(np.array([self.centre_hz]))[0])


def step_needed(goal: Goal, reflection: Quantity) -> float | None:
    """The step [Hz] of a sweep that would tell the load between its points.

    None where the load moves so little in the band, or no further than noise takes it, that
    straight lines between the points will do. The reflection may be in any reference impedance.
    """
    frequency, (low, high) = goal.frequency, goal.band_hz
    one, other = reflection.value[:-1], reflection.value[1:]
    used = (frequency[1:] > low * (1 + SAME)) & (frequency[:-1] < high * (1 - SAME))
    scatter = 2 * reflection.own.variance()
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
    """A network of real parts, judged over the sweep."""

    network: Network  # of parts in stock
    ideal: Network  # the design that it comes from, without loss
    worst_swr: float  # in the band [1]
    loss_db: float  # largest loss in the band, reflection at the input left out
    lost_db: float  # of the source's power, reflected or lost, where in the band it is most
    swr: Real  # over the whole sweep [1], shape (F,)
    ideal_swr: Real  # the design's
    losses_db: Real  # of each element at the centre, shape (K,)
    at_1_5: Bandwidth  # where the SWR is within 1.5
    at_2: Bandwidth
    meets: bool  # whether the worst SWR is within the target


def judge(goal: Goal, network: Network, ideal: Network) -> Candidate:
    """What a network does over the sweep."""
    band = goal.in_band()
    height, lost = network.heights(*band, goal.target_ohm)
    ratio = float(swr(height))
    size, plain = (
        np.abs(n.seen(goal.frequency, goal.load, z_ref=goal.target_ohm)) for n in (network, ideal)
    )
    return Candidate(
        network,
        ideal,
        ratio,
        float(network.losses_db(*band).sum(axis=0).max()),
        float(lost),
        swr(size),
        swr(plain),
        network.losses_db(goal.centre_hz, goal.centre_load()),
        bandwidth(goal.frequency, size, 1.5, goal.centre_hz),
        bandwidth(goal.frequency, size, 2.0, goal.centre_hz),
        ratio <= goal.target_swr,
    )
