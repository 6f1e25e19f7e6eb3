"""Closed forms with coils and capacitors: one reactance, L, pi and T; every real solution.

The parts of a design are without loss. Sources: node Q and virtual resistance as in C. Bowick,
RF Circuit Design, chapter 4 (value from memory); by phase, from the chain matrix of a reciprocal
network without loss.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.element import SERIES, SHUNT, Part
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor


@dataclass(frozen=True)
class Point:
    """A load at one frequency, and the resistance that it is to become."""

    frequency_hz: float
    load_ohm: complex
    target_ohm: float = defaults.REFERENCE_OHM


Ladder = list[tuple[str, float]]
"""Series reactances [ohm] and shunt susceptances [S], source to load."""
TINY = 1e-6
"""A reactance or susceptance below this share of the target's counts as none."""
MATCHED = "the load is matched as it is and needs no network at this frequency"


def short(value: float) -> str:
    """A number that bounds something, to three digits."""
    return f"{float(f'{value:.3g}'):g}"


def reactance(frequency_hz: float, ohm: float) -> Part:
    """The part without loss that has a reactance [ohm], not zero."""
    omega = 2 * np.pi * frequency_hz
    return Inductor(ohm / omega) if ohm > 0 else Capacitor(-1 / (omega * ohm))


def ladder(topology: str, at: Point, parts: Ladder) -> Network | None:
    """A network of parts without loss.

    Parts that are as good as nothing beside the target are left out; None where none is left.
    """
    built = []
    for place, value in parts:
        size = value / at.target_ohm if place == SERIES else value * at.target_ohm
        if abs(size) > TINY:
            ohm = value if place == SERIES else -1 / value
            built.append((place, reactance(at.frequency_hz, ohm)))
    return Network.of(topology, built) if built else None


def _distinct(networks: list[Network | None]) -> tuple[Network, ...]:
    """Without what is no network and without what came twice."""
    found: dict[tuple, Network] = {}
    for network in networks:
        if network is not None:
            key = tuple((e.place, type(e.part), f"{e.value:.8e}") for e in network.elements)
            found.setdefault(key, network)
    if not found:
        raise MatchingError(MATCHED)
    return tuple(found.values())


def single(at: Point, *, enough_swr: float = defaults.TARGET_SWR) -> tuple[Network, ...]:
    """One reactance in series or in shunt, where that reaches the SWR that is enough [1]."""
    y = 1 / at.load_ohm
    found, best = [], []
    for place, resistance, value in (
        (SERIES, at.load_ohm.real, -at.load_ohm.imag),
        (SHUNT, 1 / y.real, -y.imag),
    ):
        # a real load: SWR = R / R0 or R0 / R
        best.append(max(resistance / at.target_ohm, at.target_ohm / resistance))
        if best[-1] <= enough_swr * (1 + TINY):
            topology = f"single {place} reactance"
            found.append(ladder(topology, at, [(place, value)]))
    if not found:
        # two digits are what the load bears, unless they would hide that it is not enough
        near = 2 if min(best) > 1.1 * enough_swr else 4
        series, shunt = (f"{float(f'{ratio:.{near}g}'):g}" for ratio in best)
        raise MatchingError(
            f"one reactance reaches SWR {series} in series and {shunt} as a shunt, "
            f"not {enough_swr:.4g}: an L section matches every load at one frequency"
        )
    return _distinct(found)


def _dual(parts: Ladder, target_ohm: float) -> Ladder:
    """The dual about the target: each susceptance a reactance over its square, and the reverse.

    It turns the target's square over the load into the target, where `parts` turn the load.
    """
    square = target_ohm**2
    return [
        (SERIES, value * square) if place == SHUNT else (SHUNT, value / square)
        for place, value in parts
    ]


def l_section(at: Point) -> tuple[Network, ...]:
    """Every L section, up to four: not every load has both orders."""
    found = []
    for order, z in (("series", at.load_ohm), ("shunt", at.target_ohm**2 / at.load_ohm)):
        if z.real > at.target_ohm:
            continue
        # R + jx on the circle of conductance 1/R0: x = +-sqrt(R (R0 - R))
        size = np.sqrt(z.real * (at.target_ohm - z.real))
        for x in (size, -size):
            parts = [(SHUNT, -(1 / (z.real + 1j * x)).imag), (SERIES, x - z.imag)]
            parts = parts if order == "series" else _dual(parts, at.target_ohm)
            found.append(ladder(f"L, {order} part at load", at, parts))
    return _distinct(found)


def _sections(shape: str, at: Point, pis: Callable[[complex], list[Ladder]]) -> tuple[Network, ...]:
    """Pi sections by the load's admittance [S], or T sections, which are duals of pi sections."""
    if shape == "T":
        square = at.target_ohm**2
        designs = [_dual(parts, at.target_ohm) for parts in pis(at.load_ohm / square)]
    else:
        designs = pis(1 / at.load_ohm)
    return _distinct([ladder(shape, at, parts) for parts in designs])


def by_q(at: Point, *, shape: str, q: float) -> tuple[Network, ...]:
    """Every pi or T section whose larger Q is the one asked for, by the signs of its parts.

    It is that of a pi's node on one side, and that of a T's branch.
    """
    resistance = at.load_ohm.real if shape == "T" else 1 / (1 / at.load_ohm).real
    low, high = sorted((resistance, at.target_ohm))
    # Q^2 + 1 = R high / R low
    least = np.sqrt(high / low - 1)
    if q < least * (1 - TINY):
        raise MatchingError(
            f"a {shape} between {short(low)} and {short(high)} ohm needs a Q of at least "
            f"{short(least)}, not {short(q)}; at that least Q it becomes an L section"
        )
    small = float(np.sqrt(max((q**2 + 1) * low / high - 1, 0)))

    def pis(y: complex) -> list[Ladder]:
        q_load, q_source = (q, small) if 1 / y.real >= at.target_ohm else (small, q)
        # both sides are stepped down to one virtual resistance, Rv = R / (Q^2 + 1)
        virtual = max(1 / y.real, at.target_ohm) / (q**2 + 1)
        return [
            [
                (SHUNT, s * q_source / at.target_ohm),
                (SERIES, virtual * (s * q_source + t * q_load)),
                (SHUNT, t * q_load * y.real - y.imag),
            ]
            for s, t in product((1, -1), repeat=2)
        ]

    return _sections(shape, at, pis)


def by_phase(at: Point, *, shape: str, phase_rad: float) -> tuple[Network, ...]:
    """The pi or T section at which the load lags the input by a phase, -pi to pi [rad].

    It is the phase of a pi's voltage, and that of a T's current. The chain matrix of a reciprocal
    network without loss that matches R2 to R1 and turns by p is ``A = sqrt(R1/R2) cos p, B = j
    sqrt(R1 R2) sin p, C = B / (R1 R2), D = sqrt(R2/R1) cos p``.
    """
    sine, cosine = np.sin(phase_rad), np.cos(phase_rad)

    def pis(y: complex) -> list[Ladder]:
        ratio = np.sqrt(at.target_ohm * y.real)
        # a series reactance x between shunt b: B = jx, D = 1 - x b (source), A = 1 - x b (load)
        x = np.sqrt(at.target_ohm / y.real) * sine
        source, load = (1 - cosine / ratio) / x, (1 - ratio * cosine) / x - y.imag
        return [[(SHUNT, source), (SERIES, x), (SHUNT, load)]]

    return _sections(shape, at, pis)
