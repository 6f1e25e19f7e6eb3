"""What kind of fault an echo is: told of one uniform line by size, phase and what lies beyond."""

from itertools import pairwise

import numpy as np

from rfcal.feedline.echo_basis import Band
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import NEPER_PER_DB

FULL = 0.15
"""A reflection this close to 1 is taken as total (common practice, no source)."""

SURE_PHASE = 0.35
"""A kind is told only where the phase is known to this standard uncertainty [rad]."""

ON_AXIS = 0.3
"""A reflection whose phase is within this of 0 or pi [rad] is taken as that of a resistance, and
within this of half pi as that of a reactance."""

SMALL = 0.4
"""Reactances and stretches are told up to this reflection [1]: larger ones are as often an end."""

BARELY, NEARBY, SHARE = 0.02, 3.0, 0.5
"""What shows that a line goes on behind an event is larger than the first of these times the event,
as the analyzer's source match leaves less; and nearer than the second (in resolutions) larger than
the third times it, as a reflection that varies over the band splits into less."""

UNLIKE, DEVIATIONS = 0.02, 3.0
"""A kind is told only where the reflection goes over the band as that kind's does, but for the
first of these parts of it and the second times its uncertainty."""

LOSSIEST = 3.0
"""Conductor loss of the lossiest of usual cables [dB per 100 m at 1 MHz], as RG-174 has."""

LOSS_OFF = 0.3
"""What is left of a line's loss where it is stated may be of either sign and this share of it."""

TWIN = 1.6
"""An event of opposite sign may be the other end of a stretch if not this many times different."""

ALIKE, ALIKE_BY_GUESS = 0.1, 0.4
"""The ends of a stretch are alike within this share, the second where the loss is not known."""

FALLS, OFF_QUARTER = 0.15, 0.7
"""Slope over the band, in parts of the mean reflection, and phase off a quarter turn [rad], that
show a slow change begin, end or turn."""

PAIRED, LONG = 3.0, 25.0
"""Its ends are not this many times different, nor this many resolutions apart."""

FAINT, RUN, DUST = 0.1, 4.0, 0.2
"""Three or more reflections below the first [1], no further apart than the second (in resolutions)
and none below the third times the largest, can be one slow change."""


def tell_kinds(
    band: Band,
    distance: Real,
    coefficients: Complex,
    uncertainty: Real,
    phase_uncertainty: Real,
    *,
    beside: Real,
    loss_known: bool,
) -> tuple[str, ...]:
    """Kinds of events on one uniform line."""
    if not distance.size:
        return ()
    apart, reflection = distance / band.resolution, coefficients[:, 0]
    goes_as = _goes_as(band, distance, coefficients, uncertainty, beside, loss_known)
    single = _single(apart, reflection, uncertainty, phase_uncertainty, goes_as, loss_known)
    alike = ALIKE if loss_known else ALIKE_BY_GUESS
    paired, stretch = _stretches(single, reflection, uncertainty, goes_as[0], alike)
    slow = _slow_changes(paired, stretch, apart, np.abs(reflection))
    return _ramps(slow, _falls(coefficients), apart, np.abs(reflection))


def _falls(coefficients: Complex) -> np.ndarray:
    """Which events are where a slow change begins, ends or turns.

    A place where the impedance begins to rise along the line by Z' reflects ``Z' / (4 j beta Z)``
    (small reflections; D. M. Pozar, Microwave Engineering, 5.8): a quarter turn off a resistance,
    and less the higher the frequency.
    """
    mean, slope = coefficients[:, 0], coefficients[:, 1] / coefficients[:, 0]
    off_axis = np.abs(np.abs(np.angle(mean)) - np.pi / 2)
    return (slope.real < -FALLS) & (np.abs(slope.imag) < FALLS) & (off_axis < OFF_QUARTER)


def _ramps(kinds: tuple[str, ...], falls: np.ndarray, apart: Real, size: Real) -> tuple[str, ...]:
    """Kinds with slow changes told by their two ends: alone, one could be a gap in a conductor."""
    slow: set[int] = set()
    for m, n in pairwise(m for m, kind in enumerate(kinds) if falls[m] and kind == "mismatch"):
        weak = np.all(size[m : n + 1] < FAINT) and apart[m] > 1 and apart[n] - apart[m] < LONG
        if weak and 1 / PAIRED < size[n] / size[m] < PAIRED:
            slow |= set(range(m, n + 1))
    unclear = ("mismatch", "unknown")
    return tuple(
        "slow change" if m in slow and kind in unclear else kind for m, kind in enumerate(kinds)
    )


def _goes_as(
    band: Band,
    distance: Real,
    coefficients: Complex,
    uncertainty: Real,
    beside: Real,
    loss_known: bool,
) -> tuple[np.ndarray, np.ndarray]:
    """Whether events go over the band as a resistance does, and as a reactance.

    A resistance reflects alike at all frequencies. What may be left of the line's loss is tried;
    what rings behind an event is part of how it goes over the band.
    """
    some = slice(None, None, max(1, band.frequency.size // 100))
    frequency, weight, shapes = band.frequency[some], band.weight[some], band.shapes[:, some]
    if loss_known:
        lost, shares = band.attenuation[some], np.linspace(-LOSS_OFF, LOSS_OFF, 7)
    else:
        lost = LOSSIEST * np.sqrt(frequency / 1e6) * NEPER_PER_DB / 100
        shares = np.linspace(0, 1, 33)
    left = np.exp(-2 * distance[:, None, None] * shares[:, None] * lost)
    mean = coefficients[:, 0]
    reactance = _as_reactance(mean, frequency, weight)
    size, behind = np.abs(mean), distance - distance[:, None]
    ring = (behind > 0) & (behind < NEARBY * band.resolution) & (size < SHARE * size[:, None])
    rings = np.sqrt(np.sum(np.where(ring, size, 0) ** 2, axis=1) + beside**2) / size
    found = []
    for form in (np.ones_like(reactance), reactance):
        seen = (form[:, None] * left * weight) @ shapes.T
        unlike = seen / seen[..., :1] - (coefficients / mean[:, None])[:, None]
        nearest = np.min(np.linalg.norm(unlike, axis=-1), axis=-1)
        found.append(np.hypot(nearest, rings) < UNLIKE + DEVIATIONS * uncertainty / size)
    return found[0], found[1]


def _as_reactance(mean: Complex, frequency: Real, weight: Real) -> Complex:
    """How reactances of these mean reflections go over the band, but for a factor, shape (K, F).

    One that grows with frequency has ``r = j q f / (1 + j q f)`` in series and ``-r`` across the
    line (ABCD matrices; D. M. Pozar, Microwave Engineering, table 4.1); its phase's slope passes
    for distance.
    """
    middle = np.average(frequency, weights=weight)
    q = np.abs((mean / (1 - mean * np.sign(mean.imag))).imag)[:, None] / middle
    lag, off = np.arctan(q * frequency), frequency - middle
    slope = np.average(lag * off, axis=-1, weights=weight) / np.average(off**2, weights=weight)
    return np.asarray(frequency * np.cos(lag) * np.exp(-1j * (lag - slope[:, None] * off)))


def _goes_on(apart: Real, size: Real, m: int) -> float:
    """The largest reflection that shows the line to go on behind event m, or zero."""
    near = apart[m + 1 :] - apart[m] < NEARBY
    shows = size[m + 1 :] > np.where(near, SHARE, BARELY) * size[m]
    return float(np.max(size[m + 1 :], where=shows, initial=0.0))


def _has_twin(reflection: Complex, passed: float, flat: np.ndarray, m: int) -> bool:
    """Whether another event may be the other end of a stretch that begins or ends at m.

    Not one that reflects all that a resistance at m would pass, as the end of the line does.
    """
    size, against = np.abs(reflection), -(reflection * np.sign(reflection[m].real)).real
    beyond = np.arange(size.size) > m
    expected = np.where(beyond, size[m] * (1 - size[m] ** 2), size[m])
    end = beyond & flat & (np.abs(size / passed - 1) < FULL)
    return bool(np.any((against > expected / TWIN) & (size < expected * TWIN) & ~end))


def _single(
    apart: Real,
    reflection: Complex,
    uncertainty: Real,
    phase_uncertainty: Real,
    goes_as: tuple[np.ndarray, np.ndarray],
    loss_known: bool,
) -> list[str]:
    """Kinds that each event tells by itself.

    Source: a shunt resistance reflects ``-z0 / (2 R + z0)`` and passes ``1 + r``; one in series
    reflects ``R / (2 z0 + R)`` and passes ``1 - r`` (ABCD matrices; D. M. Pozar, Microwave
    Engineering, table 4.1). The end alone cannot be told from a resistance across a line
    whose rest is matched; what is seen beyond an event shows that it is not the end.
    """
    kinds, through = [], 1.0
    for m, value in enumerate(reflection):
        r, u = complex(value) / through, uncertainty[m] / through
        size, off_axis = abs(r), abs(np.arctan2(abs(r.imag), abs(r.real)))
        beyond = _goes_on(apart, np.abs(reflection), m)
        passed = max(1 - size, 0.0) ** 2
        most = passed * (1 + FULL)
        if beyond and goes_as[0][int(np.argmax(np.abs(reflection) == beyond))]:
            # an end that reflects alike all over the band tells a step of impedance, which loses
            # nothing, from a resistance: what it shows must be nearer to the latter
            most = min(most, np.sqrt(passed * max(1 - size**2, 0.0)))
        kind = "mismatch"
        if np.hypot(phase_uncertainty[m], u / size) > SURE_PHASE or size > 1 + FULL + 3 * u:
            kind = "unknown"
        elif off_axis > ON_AXIS:
            if goes_as[1][m] and abs(off_axis - np.pi / 2) < ON_AXIS:
                kind = "series inductance" if r.imag > 0 else "shunt capacitance"
        elif not goes_as[0][m]:
            pass
        elif beyond and beyond / through < most + 3 * uncertainty[m]:
            kind = "shunt resistance" if r.real < 0 else "series resistance"
        elif size > 1 - FULL:
            kind = "open" if r.real > 0 else "short"
        elif not beyond and not loss_known:
            kind = "unknown"
        if kind.endswith("resistance") and _has_twin(reflection, through * passed, goes_as[0], m):
            kind = "unknown"
        resistive = kind.endswith("resistance")
        through *= max(passed if resistive else 1 - size**2, 0.01)
        kinds.append(kind)
    return kinds


def _stretches(
    kinds: list[str], reflection: Complex, uncertainty: Real, flat: np.ndarray, share: float
) -> tuple[list[str], set[int]]:
    """Kinds with stretches of another impedance told, and which events are ends of one.

    A stretch reflects r at its near end, passes ``1 - r^2`` there and back, and reflects -r of
    that at its far end. Where what lies beyond shows that nothing was lost it is one; else two
    resistances would do as well, and neither is claimed.
    """
    found, ends, size = list(kinds), set(), np.abs(reflection)
    for m in range(len(found) - 1):
        pair = slice(m, m + 2)
        r, off = reflection[pair].real, np.abs(reflection[pair].imag)
        off_alike = abs(r[0] * (1 - r[0] ** 2) + r[1])
        alike = off_alike < share * abs(r[0]) + 3 * np.sum(uncertainty[pair])
        if alike and np.all(size[pair] < SMALL) and np.all(off < ON_AXIS * np.abs(r)):
            lossless = np.all(flat[pair]) and found[m] == found[m + 1] == "mismatch"
            kind = f"stretch of {'lower' if r[0] < 0 else 'higher'} impedance"
            found[pair] = [kind if lossless else "unknown"] * 2
            ends |= {m, m + 1}
    return found, ends


def _slow_changes(kinds: list[str], ends: set[int], apart: Real, size: Real) -> tuple[str, ...]:
    """Kinds with several in a row told as one slow change.

    Not where most of the row have a clear kind of their own, as three connectors have; and not
    behind a large echo, which rings.
    """
    found, largest = list(kinds), int(np.argmax(size))
    last = largest if size[largest] >= FAINT else len(found)
    breaks = [m for m in range(1, last) if apart[m] - apart[m - 1] >= RUN]
    breaks += [m + after for m in range(last) if size[m] >= FAINT for after in (0, 1)]
    edges = sorted({0, last, *breaks})
    for start, stop in pairwise(edges):
        row = [m for m in range(start, stop) if size[m] > DUST * np.max(size[start:stop])]
        rings = start > 0 and size[start - 1] >= FAINT and apart[start] - apart[start - 1] < RUN
        unclear = [m for m in row if m not in ends and found[m] in ("mismatch", "unknown")]
        if not rings and len(row) >= 3 and 2 * len(unclear) >= len(row):
            found[start:stop] = ["slow change"] * (stop - start)
    return tuple(found)
