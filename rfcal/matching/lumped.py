"""Closed forms with coils and capacitors: one reactance, L, pi and T; every real solution.

The parts of a design are without loss. Sources: node Q and virtual resistance as in C. Bowick,
RF Circuit Design, chapter 4 (value from memory); by phase, from the chain matrix of a reciprocal
network without loss.
"""

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.element import SERIES, SHUNT, Part
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor

TINY = 1e-9
"""A reactance or susceptance below this share of the target's counts as none."""
MATCHED = "the load is matched as it is and needs no network at this frequency"


def check_load(load_ohm: complex, where: str = "") -> None:
    """Refuse loads that no network can match."""
    place = f" {where}" if where else ""
    if not np.isfinite(load_ohm):
        raise MatchingError(f"the load{place} is an open circuit and takes no power")
    if abs(load_ohm.real) <= TINY * abs(load_ohm):
        raise MatchingError(
            f"the load{place} has no resistance and takes no power: nothing can be matched to it"
        )
    if load_ohm.real < 0:
        raise MatchingError(
            f"the load{place} has a resistance of {load_ohm.real:.4g} ohm and gives power instead "
            "of taking it: check the calibration before matching"
        )


def reactance(frequency_hz: float, ohm: float) -> Part:
    """The part without loss that has a reactance [ohm], not zero."""
    omega = 2 * np.pi * frequency_hz
    return Inductor(ohm / omega) if ohm > 0 else Capacitor(-1 / (omega * ohm))


def ladder(
    topology: str,
    frequency_hz: float,
    target_ohm: float,
    parts: list[tuple[str, float]],
    note: str = "",
) -> Network | None:
    """A network of series reactances [ohm] and shunt susceptances [S], source to load.

    Parts that are as good as nothing beside the target are left out; None where none is left.
    """
    built = []
    for place, value in parts:
        size = value / target_ohm if place == SERIES else value * target_ohm
        if abs(size) > TINY:
            ohm = value if place == SERIES else -1 / value
            built.append((place, reactance(frequency_hz, ohm)))
    return Network.of(topology, built, note) if built else None


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


def single(
    frequency_hz: float,
    load_ohm: complex,
    target_ohm: float = defaults.REFERENCE_OHM,
    *,
    enough_swr: float = defaults.TARGET_SWR,
) -> tuple[Network, ...]:
    """One reactance in series or in shunt, where that reaches the SWR that is enough [1]."""
    check_load(load_ohm)
    y = 1 / load_ohm
    found, best = [], []
    for place, resistance, value in (
        (SERIES, load_ohm.real, -load_ohm.imag),
        (SHUNT, 1 / y.real, -y.imag),
    ):
        # a real load: SWR = R / R0 or R0 / R
        best.append(max(resistance / target_ohm, target_ohm / resistance))
        if best[-1] <= enough_swr * (1 + TINY):
            topology = f"single {place} reactance"
            found.append(ladder(topology, frequency_hz, target_ohm, [(place, value)]))
    if not found:
        raise MatchingError(
            f"one reactance reaches SWR {best[0]:.3g} in series and {best[1]:.3g} as a shunt, "
            f"not {enough_swr:.3g}: an L section matches every load"
        )
    return _distinct(found)


def l_section(
    frequency_hz: float, load_ohm: complex, target_ohm: float = defaults.REFERENCE_OHM
) -> tuple[Network, ...]:
    """Every L section, up to four: not every load has both orders."""
    check_load(load_ohm)
    y, found = 1 / load_ohm, []
    if load_ohm.real <= target_ohm:
        # R + jx on the circle of conductance 1/R0: x = +-sqrt(R (R0 - R))
        size = np.sqrt(load_ohm.real * (target_ohm - load_ohm.real))
        for x in (size, -size):
            shunt = -(1 / (load_ohm.real + 1j * x)).imag
            parts = [(SHUNT, shunt), (SERIES, x - load_ohm.imag)]
            found.append(ladder("L, series part at load", frequency_hz, target_ohm, parts))
    if y.real <= 1 / target_ohm:
        # G + jb on the circle of resistance R0: b = +-sqrt(G (1/R0 - G))
        size = np.sqrt(y.real * (1 / target_ohm - y.real))
        for b in (size, -size):
            series = -(1 / (y.real + 1j * b)).imag
            parts = [(SERIES, series), (SHUNT, b - y.imag)]
            found.append(ladder("L, shunt part at load", frequency_hz, target_ohm, parts))
    return _distinct(found)


def _node_qs(low: float, high: float, q: float, name: str) -> tuple[float, float]:
    """Q at the side of the larger and of the smaller step, refused below the least Q."""
    # Q^2 + 1 = R high / R low
    least = np.sqrt(high / low - 1)
    if q < least * (1 - TINY):
        raise MatchingError(
            f"a {name} between {low:.4g} and {high:.4g} ohm needs a Q of at least {least:.4g}, "
            f"not {q:.4g}; at that least Q it becomes an L section"
        )
    return q, float(np.sqrt(max((q**2 + 1) * low / high - 1, 0)))


_SIGNS = ((1, 1), (1, -1), (-1, 1), (-1, -1))


def pi_section(
    frequency_hz: float, load_ohm: complex, target_ohm: float = defaults.REFERENCE_OHM, *, q: float
) -> tuple[Network, ...]:
    """Every pi section whose larger node Q is the one asked for, by the signs of the currents."""
    check_load(load_ohm)
    y = 1 / load_ohm
    parallel = 1 / y.real
    large, small = _node_qs(min(parallel, target_ohm), max(parallel, target_ohm), q, "pi")
    q_load, q_source = (large, small) if parallel >= target_ohm else (small, large)
    # both sides are stepped down to one virtual resistance, Rv = R / (Q^2 + 1)
    virtual = max(parallel, target_ohm) / (q**2 + 1)
    found = []
    for s, t in _SIGNS:
        parts = [
            (SHUNT, s * q_source / target_ohm),
            (SERIES, virtual * (s * q_source + t * q_load)),
            (SHUNT, t * q_load * y.real - y.imag),
        ]
        found.append(ladder("pi", frequency_hz, target_ohm, parts, f"Q = {q:.3g}"))
    return _distinct(found)


def t_section(
    frequency_hz: float, load_ohm: complex, target_ohm: float = defaults.REFERENCE_OHM, *, q: float
) -> tuple[Network, ...]:
    """Every T section whose larger branch Q is the one asked for, by the reactances' signs."""
    check_load(load_ohm)
    r = load_ohm.real
    large, small = _node_qs(min(r, target_ohm), max(r, target_ohm), q, "T")
    q_load, q_source = (large, small) if r <= target_ohm else (small, large)
    # both sides are stepped up to one virtual resistance, Rv = R (Q^2 + 1)
    virtual = min(r, target_ohm) * (q**2 + 1)
    found = []
    for s, t in _SIGNS:
        parts = [
            (SERIES, s * q_source * target_ohm),
            (SHUNT, (s * q_source + t * q_load) / virtual),
            (SERIES, t * q_load * r - load_ohm.imag),
        ]
        found.append(ladder("T", frequency_hz, target_ohm, parts, f"Q = {q:.3g}"))
    return _distinct(found)


def _phase(phase_rad: float) -> tuple[float, float, str]:
    """Sine and cosine of a section's phase, and words for it.

    The chain matrix of a reciprocal network without loss that matches R2 to R1 and turns by p is
    ``A = sqrt(R1/R2) cos p, B = j sqrt(R1 R2) sin p, C = B / (R1 R2), D = sqrt(R2/R1) cos p``.
    """
    sine, cosine = np.sin(phase_rad), np.cos(phase_rad)
    if abs(sine) < 1e-6:
        raise MatchingError("a pi or T section has a phase other than zero and half a turn")
    return sine, cosine, f"phase {np.degrees(phase_rad):.4g} degrees"


def pi_by_phase(
    frequency_hz: float,
    load_ohm: complex,
    target_ohm: float = defaults.REFERENCE_OHM,
    *,
    phase_rad: float,
) -> tuple[Network, ...]:
    """The pi section at which the load's voltage lags the input's by a phase, -pi to pi [rad]."""
    check_load(load_ohm)
    sine, cosine, note = _phase(phase_rad)
    y = 1 / load_ohm
    ratio, mean = np.sqrt(target_ohm * y.real), np.sqrt(target_ohm / y.real)
    # a series reactance x between shunt b: B = jx, D = 1 - x b (source), A = 1 - x b (load)
    x = mean * sine
    parts = [
        (SHUNT, (1 - cosine / ratio) / x),
        (SERIES, x),
        (SHUNT, (1 - ratio * cosine) / x - y.imag),
    ]
    return _distinct([ladder("pi", frequency_hz, target_ohm, parts, note)])


def t_by_phase(
    frequency_hz: float,
    load_ohm: complex,
    target_ohm: float = defaults.REFERENCE_OHM,
    *,
    phase_rad: float,
) -> tuple[Network, ...]:
    """The T section at which the load's current lags the input's by a phase, -pi to pi [rad]."""
    check_load(load_ohm)
    sine, cosine, note = _phase(phase_rad)
    ratio, mean = np.sqrt(target_ohm / load_ohm.real), np.sqrt(target_ohm * load_ohm.real)
    # a shunt susceptance b between series x: C = jb, A = 1 - x b (source), D = 1 - x b (load)
    b = sine / mean
    parts = [
        (SERIES, (1 - ratio * cosine) / b),
        (SHUNT, b),
        (SERIES, (1 - cosine / ratio) / b - load_ohm.imag),
    ]
    return _distinct([ladder("T", frequency_hz, target_ohm, parts, note)])
