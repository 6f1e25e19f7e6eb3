"""What becomes of a network when its parts and the measurement are not exact."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import product

import numpy as np

from rfcal import defaults
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network, NetworkElement
from rfcal.matching.parts import Capacitor, Inductor
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Complex, Real, from_impedance, swr
from rfcal.uncertainty.words import about

ROOM = np.concatenate([[0.0], np.geomspace(1e-3, 0.5, 120)])
"""How far off a value is tried [1, relative]."""
MOST_ADDED = np.array([defaults.LEAD_M * defaults.LEAD_H_PER_M, defaults.STRAY_F]).reshape(2, 1, 1)
"""To a coil or a capacitor: inductance by its leads [H], and capacitance across it [F]."""
CHUNK = 128
"""Draws that are reckoned at once."""
MOST_TOLERANCE = 2.0
"""Tolerances up to which it is told how far a part may be off alone [1]."""
SETTINGS, SAVED = 13, 0.05
"""Values that are tried of an adjustable part, and what share of networks one must save more than
none or another [1]."""


def strayed(element: NetworkElement, leads_h: Real, across_f: Real) -> NetworkElement:
    """A coil or a capacitor with leads in series and a capacitance across it."""
    part = element.part
    if isinstance(part, Inductor):
        across_f = np.maximum(part.parallel_f + across_f, 0)
        return element.with_part(inductance_h=element.value + leads_h, parallel_f=across_f)
    if isinstance(part, Capacitor):
        leads_h = part.series_h + leads_h
        return element.with_part(capacitance_f=element.value + across_f, series_h=leads_h)
    return element


def as_built(network: Network, stock: Stock, rng: "np.random.Generator", draws: int) -> Network:
    """The network as it may turn out, its values of shape (draws, 1).

    Every value within a part's tolerance, within a step of a cut, and of leads and strays up to
    what is usual, is as likely as any other.
    """
    elements = []
    for element in network.elements:
        off = rng.uniform(-1, 1, (draws, 1)) * stock.off(element)
        made = element.with_value(element.value * (1 + off))
        if element.line is None:
            made = strayed(made, *rng.uniform(0, 1, (2, draws, 1)) * MOST_ADDED)
        elements.append(made)
    return replace(network, elements=tuple(elements))


@dataclass(frozen=True, eq=False)
class Yield:
    """Share of networks that hold the target SWR in the whole band."""

    parts: float  # by the parts' tolerance alone [1]
    measurement: float  # by the measured load's uncertainty alone; 1 or 0 where it was given none
    both: float
    standard_uncertainty: float  # of `both`, by the number of draws
    # the numbers of the parts that are to be set once all is built, none where that would not help;
    # then the share that hold by it [1], and its standard uncertainty
    adjustable: tuple[int, ...] = ()
    adjusted: tuple[float, float] = (0.0, 0.0)

    @property
    def told(self) -> tuple[float, float]:
        """The share that hold as they are to be built, and its standard uncertainty."""
        return self.adjusted if self.adjustable else (self.both, self.standard_uncertainty)


def production_yield(
    goal: Goal,
    network: Network,
    stock: Stock,
    rng: "np.random.Generator",
    *,
    draws: int = defaults.YIELD_DRAWS,
    loads: Complex | None = None,
    able: Sequence[int] = (),
) -> Yield:
    """How many of the networks that might be built hold the target.

    `loads` [ohm], shape (draws, B), are what the measured load may be in the goal's band. Where few
    hold, those of the parts `able` are adjustable, two at most, that save most networks.
    """
    frequency, load = goal.in_band()
    loads = np.broadcast_to(load, (draws, load.size)) if loads is None else loads
    found = np.empty((3, draws))
    for start in range(0, draws, CHUNK):
        stop = min(start + CHUNK, draws)
        built, drawn = as_built(network, stock, rng, stop - start), loads[start:stop]
        for row, (one, seen) in enumerate(((built, load), (network, drawn), (built, drawn))):
            found[row, start:stop] = swr(one.worst(frequency, seen, goal.target_ohm))
    parts, measurement, both = (share(row <= goal.target_swr) for row in found)
    made, few = Yield(parts[0], measurement[0], *both), loads[: defaults.FEWEST_DRAWS]
    return _with_parts_set(goal, as_built(network, stock, rng, len(few)), few, made, able)


def _with_parts_set(
    goal: Goal, built: Network, loads: Complex, made: Yield, able: Sequence[int]
) -> Yield:
    """The yield with parts of the networks built set to the lowest SWR in the band, where few hold.

    To each network its load.
    """

    def held(parts: tuple[int, ...]) -> tuple[float, float]:
        worst = (
            one.worst(goal.in_band()[0], loads, goal.target_ohm) for one in _settings(built, parts)
        )
        return share(swr(reduce(np.minimum, worst)) <= goal.target_swr)

    while made.told[0] < defaults.SURE_YIELD and len(made.adjustable) < 2:
        best = made
        for k in able:
            parts = (*made.adjustable, k)
            if k not in made.adjustable and (found := held(parts))[0] > best.told[0] + SAVED:
                best = replace(made, adjustable=parts, adjusted=found)
        if best is made:
            break
        made = best
    return made


def _settings(network: Network, parts: Sequence[int]) -> Iterator[Network]:
    """The network with some parts set to all that they can be; as it is without any."""
    span = 1 + defaults.TRIM_SPAN * np.linspace(-1, 1, SETTINGS)
    for times in product(span, repeat=len(parts)):
        values = network.values
        for k, one in zip(parts, times, strict=True):
            values[k] = one * values[k]
        yield network.with_values(values)


def least_lost_db(goal: Goal, network: Network, parts: Sequence[int]) -> float:
    """What is lost of the power with some parts set, where in the band it is most [dB].

    Of draws of a network it is the median: half of them lose more.
    """
    band = (*goal.in_band(), goal.target_ohm)
    lost = np.min([one.heights(*band)[1] for one in _settings(network, parts)], axis=0)
    return float(np.median(lost))


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
    # where the SWR is least, lowest frequency first, and how far that moves where the value is 1 %
    # larger [Hz]; none where the sweep has no dip, or not the same ones
    moves: tuple[tuple[float, float], ...]
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
        """What it does; where a dip lies, and how far it moves, is known to two digits at most."""
        if not self.moves:
            return f"{self.name}: no dip of this sweep can be followed"
        if max(abs(by) for _, by in self.moves) < 1:
            return f"{self.name} leaves the dip where it is"
        many, told = len(self.moves) > 1, []
        for at, by in self.moves:
            where = f" at {at / 1e6:.4g} MHz" if many else ""
            told.append(f"{where} {'up' if by > 0 else 'down'}, {about(abs(by) / 1e3)} kHz")
        return f"{self.name} up moves the dip{' and that'.join(told)} for 1 %"


def dips(frequency: Real, reflection: Complex) -> tuple[Real, Real]:
    """Where a reflection (F,) is least [Hz], and its square there, shape (D,)."""
    power = np.abs(reflection) ** 2
    k = 1 + np.flatnonzero((power[1:-1] < power[:-2]) & (power[1:-1] <= power[2:]))
    left, here, right = power[k - 1], power[k], power[k + 1]
    # the vertex of the parabola through three points of |r|^2
    shift = (left - right) / (2 * (left - 2 * here + right))
    return np.interp(k + shift, np.arange(frequency.size), frequency), here


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
    """What each element does to the dips, by changing it up and down by 1 %, and its room."""
    frequency, load = goal.smooth
    limit, found = (goal.target_swr - 1) / (goal.target_swr + 1), []

    def seen(network: Network) -> Complex:
        return network.seen(frequency, load, z_ref=goal.target_ohm)

    at, depth = dips(frequency, seen(network))
    # of two that are about as deep, or hold the target, both
    deep = max(limit**2, 2 * min(depth, default=0.0))
    told = sorted(d for d in depth.argsort()[:2] if depth[d] <= deep)
    for k, element in enumerate(network.elements):
        values = network.values
        values[k] = values[k] * np.array([[1.01], [0.99]])
        up, down = (dips(frequency, one)[0] for one in seen(network.with_values(values)))
        moves: tuple[tuple[float, float], ...] = ()
        if up.size == down.size == at.size:
            moves = tuple((float(at[d]), float(up[d] - down[d]) / 2) for d in told)
        found.append(Sensitivity(element.name, moves, _room(goal, network, k)))
    return tuple(found)


def margin(
    network: Network, moved: Sequence[Sensitivity], stock: Stock, adjustable: Sequence[int]
) -> float:
    """How many tolerances each coil or capacitor that is not set may be off alone [1].

    That is a tenth sharp, `MOST_TOLERANCE` at most, and 0 where the target is missed as drawn.
    """
    found = [MOST_TOLERANCE]
    for k, (element, by) in enumerate(zip(network.elements, moved, strict=True)):
        off = stock.off(element)
        if element.line is None and k not in adjustable and off:
            found.append(float(np.nan_to_num(np.min(by.room))) / off)
    return round(min(found), 1)
