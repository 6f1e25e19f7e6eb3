"""What kind of fault an echo is: told of one uniform line by size, phase and what lies beyond.

A kind that one place shows by itself is a row of `KINDS`, its name the word that people read.
Stretches and slow changes are told by several places together.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from rfcal.feedline.echo_basis import Band
from rfcal.feedline.reactances import in_series
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
"""Stretches are told up to this reflection [1]: larger ones are as often an end."""

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

UNSHAPED = 0.2
"""How far what is of no one kind seems off, in resolutions, where a sweep begins near zero, so far
below its resonance (standard, by simulation of antennas and gaps)."""

PAIRED, LONG = 3.0, 25.0
"""Its ends are not this many times different, nor this many resolutions apart."""

FAINT, RUN, DUST = 0.1, 4.0, 0.2
"""Three or more reflections below the first [1], no further apart than the second (in resolutions)
and none below the third times the largest, can be one slow change."""

UNCLEAR = MISMATCH, UNKNOWN, EITHER = "mismatch", "unknown", "series or shunt capacitance"
"""Of no kind listed here; what band, noise, an unknown loss or a twin do not let be told; and what
a narrow band does not."""

GAP = "series capacitance"
"""As of a broken conductor or an open joint: told by its whole answer."""

SLOW = "slow change"
"""Of several places in a row, as water makes it."""


def _level(mean: Complex, frequency: Real, weight: Real) -> Complex:
    # r = R / (R + 2 z0) in series, -z0 / (2 R + z0) in shunt: alike at all frequencies
    return np.ones((mean.size, frequency.size), complex)


def _lag(q: Real, frequency: Real, weight: Real) -> tuple[Real, Real]:
    """How a reactance's phase lags but for a straight line [rad], (K, F), and at mid-band, (K,).

    The slope of its phase passes for distance: the search has moved the echo by it.
    """
    middle = np.average(frequency, weights=weight)
    lag, off = np.arctan(q[:, None] * frequency), frequency - middle
    slope = np.average(lag * off, axis=-1, weights=weight) / np.average(off**2, weights=weight)
    return lag, lag - slope[:, None] * off


def _rising(mean: Complex, frequency: Real, weight: Real) -> Complex:
    # r = j q f / (1 + j q f), q = L pi / z0 in series; -r with q = C pi z0 in shunt
    q = np.abs((mean / (1 - mean * np.sign(mean.imag))).imag)
    lag, left = _lag(q / np.average(frequency, weights=weight), frequency, weight)
    return np.asarray(frequency * np.cos(lag) * np.exp(-1j * left))


@dataclass(frozen=True, eq=False)
class Kind:
    """What one place of a uniform line reflects (ABCD matrices; D. M. Pozar, table 4.1)."""

    name: str
    means: str  # on a line (common practice, no source)
    way: complex  # where its reflection lies: 1, -1, 1j or -1j
    # how it goes over the band but for a factor, (K, F): of mean reflections (K,), f, window (F,)
    over_band: Callable[[Complex, Real, Real], Complex]
    resistive: bool = False  # passes 1 - |r| and takes up the rest; the line goes on behind it
    end: bool = False  # reflects all


KINDS = (
    Kind(
        "series resistance",
        "a resistive joint or a step of impedance",
        1,
        _level,
        resistive=True,
    ),
    Kind(
        "shunt resistance",
        "a leak across the line, as of a wet joint, or a step of impedance",
        -1,
        _level,
        resistive=True,
    ),
    # an antenna far below its resonance is one too
    Kind("open", "the line is open there", 1, _level, end=True),
    Kind("short", "the line is shorted there", -1, _level, end=True),
    # of a connector, or of a stretch shorter than half the resolution
    Kind("series inductance", "inductance in series, as of a loose joint", 1j, _rising),
    Kind(
        "shunt capacitance",
        "capacitance across the line, as of a crushed or wet place",
        -1j,
        _rising,
    ),
)


RESISTIVE = {kind.name for kind in KINDS if kind.resistive}
REACTIVE = {kind.name for kind in KINDS if kind.over_band is not _level} | {GAP}
SLOWING = {kind.name for kind in KINDS if kind.over_band is _rising}
"""What delays the wave that passes it."""


@dataclass(frozen=True, eq=False)
class Reflections:
    """Events whose kind is asked, near to far."""

    band: Band
    distance: Real  # [m], shape (K,)
    # coefficients of the band's shapes [1], shape (K, P), the line's loss made good where known
    coefficients: Complex
    uncertainty: Real  # standard uncertainty of each part of them [1], shape (K,)
    phase_uncertainty: Real  # of their phases, as the places are uncertain [rad]
    beside: Real  # what else reflects too near to each to be told apart from it [1]
    answer: Complex  # all that comes from each, what rings in it too, as if it were here (K, F)
    loss_known: bool

    @cached_property
    def mean(self) -> Complex:
        """Mean reflections over the band [1]."""
        return self.coefficients[:, 0]

    @cached_property
    def size(self) -> Real:
        """Their magnitudes [1]."""
        return np.abs(self.mean)

    @cached_property
    def apart(self) -> Real:
        """Distances in resolutions."""
        return self.distance / self.band.resolution

    @cached_property
    def goes_as(self) -> dict[Callable, np.ndarray]:
        """Which of them each way of going over the band explains, shape (K,).

        What may be left of the line's loss is tried; what rings behind an event is part of how it
        goes over the band.
        """
        some = slice(None, None, max(1, self.band.frequency.size // 100))
        frequency, weight = self.band.frequency[some], self.band.weight[some]
        if self.loss_known:
            lost, shares = self.band.attenuation[some], np.linspace(-LOSS_OFF, LOSS_OFF, 7)
        else:
            lost = LOSSIEST * np.sqrt(frequency / 1e6) * NEPER_PER_DB / 100
            shares = np.linspace(0, 1, 33)
        left = np.exp(-2 * self.distance[:, None, None] * shares[:, None] * lost)
        known = (self.coefficients / self.mean[:, None])[:, None]
        found = {}
        for form in dict.fromkeys(kind.over_band for kind in KINDS):
            over_band = form(self.mean, frequency, weight)[:, None]
            # its coefficients: the shapes are orthonormal under the window
            seen = (over_band * left * weight) @ self.band.shapes[:, some].T
            unlike = np.linalg.norm(seen / seen[..., :1] - known, axis=-1).min(axis=-1)
            allowed = UNLIKE + DEVIATIONS * self.uncertainty / self.size
            found[form] = np.hypot(unlike, self._rings) < allowed
        return found

    @cached_property
    def _rings(self) -> Real:
        """What rings behind each and stands beside it, in parts of it."""
        behind = self.distance - self.distance[:, None]
        ring = (behind > 0) & (behind < NEARBY * self.band.resolution)
        ring &= self.size < SHARE * self.size[:, None]
        weak = np.sum(np.where(ring, self.size, 0) ** 2, axis=1)
        return np.asarray(np.sqrt(weak + self.beside**2) / self.size)


def tell_kinds(seen: Reflections) -> tuple[str, ...]:
    """Kinds of events on one uniform line."""
    if not seen.distance.size:
        return ()
    kinds = _single(seen)
    kinds, ends = _stretches(seen, kinds)
    return tuple(_ramps(seen, _slow_changes(seen, kinds, ends)))


def seems_off(seen: Reflections, kinds: tuple[str, ...]) -> Real:
    """How far each place seems off by the slope of a reactance's phase [m], shape (K,).

    What is of no one kind may hold a reactance as large, and one unlike the fit's slow shapes, as a
    gap is.
    """
    # r = sin a or cos a, a = arctan(q f), and da / df = sin a cos a / f; a place off by s turns the
    # phase by 4 pi f s / v
    size = np.minimum(seen.size, 1.0)
    middle = np.average(seen.band.frequency, weights=seen.band.weight)
    wave, from_zero = seen.band.speed / middle, max(seen.band.width / middle - 1, 0.0)
    unclear = np.array([kind in (*UNCLEAR, GAP) for kind in kinds], bool)
    turns = unclear | np.array([kind in REACTIVE for kind in kinds], bool)
    slope = np.where(turns, size * np.sqrt(1 - size**2) * wave / (4 * np.pi), 0.0)
    return np.hypot(slope, np.where(unclear, UNSHAPED * from_zero * seen.band.resolution, 0.0))


def _single(seen: Reflections) -> list[str]:
    """Kinds that each event tells by itself."""
    kinds, through = [], 1.0  # transmission up to the event, there and back
    for m in range(seen.size.size):
        r, u = complex(seen.mean[m]) / through, seen.uncertainty[m] / through
        passed = max(1 - abs(r), 0.0) ** 2
        kind = UNKNOWN
        sure = np.hypot(seen.phase_uncertainty[m], u / abs(r)) <= SURE_PHASE
        if sure and abs(r) <= 1 + FULL + 3 * u:
            kind = _told(seen, m, r, passed, through)
        gap = kind not in RESISTIVE and _gap(seen, m, r, through)
        if gap is None or gap:
            kind = (EITHER if sure else kind) if gap is None else GAP
        if kind in RESISTIVE and _has_twin(seen, through * passed, m):
            kind = UNKNOWN
        # a step of impedance or a reactance loses nothing: 1 - |r|^2
        through *= max(passed if kind in RESISTIVE else 1 - abs(r) ** 2, 0.01)
        kinds.append(kind)
    return kinds


def _told(seen: Reflections, m: int, r: complex, passed: float, through: float) -> str:
    """The kind of event m, which reflects r where it is and passes so much if it is resistive.

    The end alone cannot be told from a resistance in shunt with a line whose rest is matched; what
    is seen beyond an event shows that it is not the end.
    """
    beyond = _goes_on(seen, m)
    most = passed * (1 + FULL)
    if beyond and seen.goes_as[_level][int(np.argmax(seen.size == beyond))]:
        # an end that reflects alike all over the band tells a step of impedance, which loses
        # nothing, from a resistance: what it shows must be nearer to the latter
        most = min(most, np.sqrt(passed * max(1 - abs(r) ** 2, 0.0)))
    goes_on = bool(beyond) and beyond / through < most + 3 * seen.uncertainty[m]
    near = [k for k in KINDS if abs(np.angle(r / k.way)) <= ON_AXIS]
    rows = [k for k in near if seen.goes_as[k.over_band][m]]
    for kind in rows:
        if goes_on if kind.resistive else abs(r) > 1 - FULL or not kind.end:
            return kind.name
    return UNKNOWN if rows and not beyond and not seen.loss_known else MISMATCH


def _gap(seen: Reflections, m: int, r: complex, through: float) -> bool | None:
    """Whether event m, which reflects r where it is, is a gap; None if capacitance of either way.

    Where its phase may be anything, only a band from low frequencies on tells.
    """
    frequency = seen.band.frequency
    sure = seen.phase_uncertainty[m] <= SURE_PHASE or seen.band.width >= np.mean(frequency)
    if not sure or abs(r) > 1 - FULL or r.imag > ON_AXIS * abs(r):
        return False
    left, least = LOSS_OFF * seen.band.attenuation, -1.0
    if not seen.loss_known:
        left, least = LOSSIEST * np.sqrt(frequency / 1e6) * NEPER_PER_DB / 100, 0.0
    return in_series(seen.answer[m] / through, seen.band, 2 * seen.distance[m] * left, least)


def _goes_on(seen: Reflections, m: int) -> float:
    """The largest reflection that shows the line to go on behind event m, or zero."""
    near, beyond = seen.apart[m + 1 :] - seen.apart[m] < NEARBY, seen.size[m + 1 :]
    shows = beyond > np.where(near, SHARE, BARELY) * seen.size[m]
    return float(np.max(beyond, where=shows, initial=0.0))


def _has_twin(seen: Reflections, passed: float, m: int) -> bool:
    """Whether another event may be the other end of a stretch that begins or ends at m.

    Not one that reflects all that a resistance at m would pass, as the end of the line does.
    """
    size, against = seen.size, -(seen.mean * np.sign(seen.mean[m].real)).real
    beyond = np.arange(size.size) > m
    # the far end of a stretch reflects -r (1 - r^2) where its near end reflects r
    expected = np.where(beyond, size[m] * (1 - size[m] ** 2), size[m])
    end = beyond & seen.goes_as[_level] & (np.abs(size / passed - 1) < FULL)
    return bool(np.any((against > expected / TWIN) & (size < expected * TWIN) & ~end))


def _stretches(seen: Reflections, kinds: list[str]) -> tuple[list[str], set[int]]:
    """Kinds with stretches of another impedance told, and which events are ends of one.

    Where what lies beyond shows that nothing was lost it is one; else two resistances would do as
    well, and neither is claimed.
    """
    kinds, ends = list(kinds), set()
    share = ALIKE if seen.loss_known else ALIKE_BY_GUESS
    for m in range(len(kinds) - 1):
        pair = slice(m, m + 2)
        r, off = seen.mean[pair].real, np.abs(seen.mean[pair].imag)
        # its ends reflect r and, as 1 - r^2 passes there and back, -r (1 - r^2)
        off_alike = abs(r[0] * (1 - r[0] ** 2) + r[1])
        alike = off_alike < share * abs(r[0]) + 3 * np.sum(seen.uncertainty[pair])
        if alike and np.all(seen.size[pair] < SMALL) and np.all(off < ON_AXIS * np.abs(r)):
            lossless = np.all(seen.goes_as[_level][pair]) and kinds[pair] == [MISMATCH] * 2
            kind = f"stretch of {'lower' if r[0] < 0 else 'higher'} impedance"
            kinds[pair] = [kind if lossless else UNKNOWN] * 2
            ends |= {m, m + 1}
    return kinds, ends


def _slow_changes(seen: Reflections, kinds: list[str], ends: set[int]) -> list[str]:
    """Kinds with several in a row told as one slow change.

    Not where most of the row have a clear kind of their own, as three connectors have; and not
    behind a large echo, which rings.
    """
    kinds, size, apart = list(kinds), seen.size, seen.apart
    largest = int(np.argmax(size))
    last = largest if size[largest] >= FAINT else len(kinds)
    breaks = [m for m in range(1, last) if apart[m] - apart[m - 1] >= RUN]
    breaks += [m + after for m in range(last) if size[m] >= FAINT for after in (0, 1)]
    for start, stop in pairwise(sorted({0, last, *breaks})):
        row = [m for m in range(start, stop) if size[m] > DUST * np.max(size[start:stop])]
        rings = start > 0 and size[start - 1] >= FAINT and apart[start] - apart[start - 1] < RUN
        unclear = [m for m in row if m not in ends and kinds[m] in UNCLEAR]
        if not rings and len(row) >= 3 and 2 * len(unclear) >= len(row):
            kinds[start:stop] = [SLOW] * (stop - start)
    return kinds


def _ramps(seen: Reflections, kinds: list[str]) -> list[str]:
    """Kinds with slow changes told by their two ends: alone, one could be a gap in a conductor."""
    kinds, size, apart = list(kinds), seen.size, seen.apart
    # where the impedance begins to change along the line by Z', r = Z' / (4 j beta Z) (small
    # reflections; Pozar, 5.8): a quarter turn off a resistance, and less the higher the frequency
    slope = seen.coefficients[:, 1] / seen.mean
    off_quarter = np.abs(np.abs(np.angle(seen.mean)) - np.pi / 2)
    falls = (slope.real < -FALLS) & (np.abs(slope.imag) < FALLS) & (off_quarter < OFF_QUARTER)
    slow: set[int] = set()
    for m, n in pairwise(m for m, kind in enumerate(kinds) if falls[m] and kind == MISMATCH):
        weak = np.all(size[m : n + 1] < FAINT) and apart[m] > 1 and apart[n] - apart[m] < LONG
        if weak and 1 / PAIRED < size[n] / size[m] < PAIRED:
            slow |= set(range(m, n + 1))
    return [SLOW if m in slow and kind in UNCLEAR else kind for m, kind in enumerate(kinds)]
