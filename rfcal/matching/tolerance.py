"""What becomes of a network when its parts and the measurement are not exact."""

from dataclasses import dataclass

import numpy as np

from rfcal import defaults
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Complex, Real, from_impedance, swr

ROOM = np.concatenate([[0.0], np.geomspace(1e-3, 0.5, 120)])
"""How far off a value is tried [1, relative]."""
CHUNK = 128
"""Draws that are reckoned at once."""


def as_built(network: Network, stock: Stock, rng: "np.random.Generator", draws: int) -> Network:
    """The network as it may turn out, its values of shape (draws, 1).

    Every value within a part's tolerance, and within a step of a cut, is as likely as any other.
    """
    values = []
    for element in network.elements:
        off = rng.uniform(-1, 1, (draws, 1))
        if element.line is not None:
            values.append(np.maximum(element.value + off * stock.step_m, 1e-6))
        else:
            values.append(element.value * (1 + off * stock.tolerance))
    return network.with_values(values)


@dataclass(frozen=True, eq=False)
class Yield:
    """Share of networks that hold the target SWR in the whole band."""

    parts: float  # by the parts' tolerance alone [1]
    measurement: float  # by the measured load's uncertainty alone; 1 or 0 where it was given none
    both: float
    standard_uncertainty: float  # of `both`, by the number of draws


def production_yield(
    goal: Goal,
    network: Network,
    stock: Stock,
    rng: "np.random.Generator",
    *,
    draws: int = defaults.YIELD_DRAWS,
    loads: Complex | None = None,
) -> Yield:
    """How many of the networks that might be built hold the target.

    `loads` [ohm], shape (draws, B), are what the measured load may be in the goal's band.
    """
    frequency, load = goal.in_band()
    found = np.empty((3, draws))
    for start in range(0, draws, CHUNK):
        stop = min(start + CHUNK, draws)
        built = as_built(network, stock, rng, stop - start)
        drawn = load if loads is None else loads[start:stop]
        for row, (one, seen) in enumerate(((built, load), (network, drawn), (built, drawn))):
            found[row, start:stop] = swr(one.worst(frequency, seen, goal.target_ohm))
    parts, measurement, both = (share(row <= goal.target_swr) for row in found)
    return Yield(parts[0], measurement[0], *both)


def share(held: np.ndarray) -> tuple[float, float]:
    """The share of draws that hold [1], and its standard uncertainty by their number."""
    found, draws = float(np.mean(held)), held.size
    return found, float(np.sqrt(max(found * (1 - found), 1 / draws) / draws))


def raw_range(goal: Goal, loads: Complex) -> tuple[float, float]:
    """Ends of the 95 % interval of the worst SWR in the band without a network [1].

    `loads` [ohm], shape (N, B), are what the measured load may be there.
    """
    worst = np.abs(from_impedance(loads, goal.target_ohm)).max(axis=-1)
    low, high = swr(np.quantile(worst, [0.025, 0.975]))
    return float(low), float(high)


def load_share(goal: Goal, loads: Complex) -> tuple[float, float]:
    """Of what the load may be, how much is held to the target by a network that matches it exactly.

    And the share's standard uncertainty; `loads` as in `raw_range`.
    """
    load = goal.in_band()[1]
    # seen of Z through a network without loss that matches Z0: |(Z - Z0) / (Z + Z0*)|
    away = np.abs((loads - load) / (loads + np.conj(load))).max(axis=-1)
    return share(swr(away) <= goal.target_swr)


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """What a small change of one part does."""

    name: str  # of the element
    # how far the least SWR of the sweep moves where the value is 1 % larger; nan where it lies at
    # the edge of the sweep
    dip_hz: float
    # how far the value alone may be off, below and above, before the target is missed [1,
    # relative]; nan where it is missed as designed
    room: tuple[float, float] = (np.nan, np.nan)

    def room_words(self, length_m: float) -> str:
        """How exact a length must be, in millimetres; empty where nothing is known."""
        least = 1e3 * length_m * min(self.room)
        if not least >= 0.1:
            return "as exact as you can" if least >= 0 else ""
        # rounded down, for it is a limit
        digits = 0 if least >= 10 else 1
        return f"± {np.floor(least * 10**digits) / 10**digits:g} mm holds the target"

    def in_words(self) -> str:
        """What it does; a dip between points of a sweep is known to two digits at most."""
        if not np.isfinite(self.dip_hz):
            return f"{self.name}: the dip lies at the edge of the sweep"
        if abs(self.dip_hz) < 1:
            return f"{self.name} leaves the dip where it is"
        way = "up" if self.dip_hz > 0 else "down"
        size = float(f"{abs(self.dip_hz) / 1e3:.1e}")
        return f"{self.name} up moves the dip {way}, {size:g} kHz for 1 %"


def dip(frequency: Real, reflection: Complex) -> Real:
    """Where the reflection (..., F) is least [Hz]; nan where that is at an edge."""
    power = np.abs(reflection) ** 2
    if frequency.size < 3:
        return np.full(power.shape[:-1], np.nan)
    k = power.argmin(axis=-1)
    inside = (k > 0) & (k < frequency.size - 1)
    k = np.clip(k, 1, frequency.size - 2)
    left, here, right = (
        np.take_along_axis(power, (k + s)[..., None], -1)[..., 0] for s in (-1, 0, 1)
    )
    # the vertex of the parabola through three points of |r|^2
    bend = left - 2 * here + right
    shift = np.where(bend > 0, (left - right) / np.where(bend > 0, 2 * bend, 1), 0)
    return np.where(inside, frequency[k] + shift * (frequency[k + 1] - frequency[k]), np.nan)


def _room(goal: Goal, network: Network, k: int) -> tuple[float, float]:
    """How far one value may be off before the target is missed [1, relative], below and above."""
    found = []
    for off in (-ROOM, ROOM):
        values = network.values
        values[k] = values[k] * (1 + off[:, None])
        held = swr(network.with_values(values).worst(*goal.in_band(), goal.target_ohm))
        beyond = held > goal.target_swr
        first = int(beyond.argmax()) if np.any(beyond) else ROOM.size
        found.append(float(ROOM[first - 1]) if first else np.nan)
    return found[0], found[1]


def sensitivity(goal: Goal, network: Network) -> tuple[Sensitivity, ...]:
    """What each element does to the dip, by changing it up and down by 1 %, and its room."""
    found = []
    for k, element in enumerate(network.elements):
        values = network.values
        values[k] = values[k] * np.array([[1.01], [0.99]])
        many = network.with_values(values)
        up, down = dip(goal.frequency, many.seen(goal.frequency, goal.load, z_ref=goal.target_ohm))
        room = _room(goal, network, k)
        found.append(Sensitivity(element.name, float(up - down) / 2, room))
    return tuple(found)
