"""What kind of fault an echo is: told of one uniform line by size, phase and what lies beyond.

A kind that one place shows by itself is a row of `FAULT_KINDS`, its name the word that people read;
stretches of line and slow changes, which several places tell together, are in `runs`.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import compress

import numpy as np

from rfcal.feedline.faults.basis import Band
from rfcal.feedline.faults.reactances import Form, falling, in_series, joints, level, rising
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import NEPER_PER_DB

FULL = 0.15
"""A reflection this close to 1 is taken as total (common practice, no source)."""
LARGE, ALONE = 0.5, 0.1
"""What reflects more than the first [1], with less than the second part of it behind, may be all,
behind lossier cable: no joint has twice the line's impedance (common practice, no source)."""
SURE_PHASE = 0.35
"""A kind is told only where the phase is known to this standard uncertainty [rad]."""
ON_AXIS = 0.3
"""A reflection whose phase is within this of 0 or pi [rad] is taken as that of a resistance, and
within this of half pi as that of a reactance."""
BARELY, NEARBY, GOES_ON = 0.02, 3.0, 0.5
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
LOSSIER, SKEWED = 1.0, 0.3
"""The same of cable of another type, and what that bends an echo in parts of what it lacks."""
TWIN = 1.6
"""An event of opposite sign may be the other end of a stretch if not this many times different."""
BENDS = 1.0
"""What a spread of one resolution adds to the square shape of an echo [1]."""
UNSHAPED = 0.2
"""How far what is of no one kind seems off, in resolutions, where a sweep begins near zero, so far
below its resonance (standard, by simulation of antennas and gaps)."""
UNCLEAR = MISMATCH, UNKNOWN = "mismatch", "unknown"
"""Of no kind listed here; and what band, noise, an unknown loss or a twin do not let be told."""
Z_STEP, SMALL = "step of impedance", 0.4
"""What reflects as a resistance does and passes more; steps and stretches are told up to this
reflection [1]: larger ones are as often an end."""
PHASES = 2.0
"""Kinds fit whose phase is within so many standard uncertainties."""
SLOW, STRETCH_OF = "slow change", "stretch of {} impedance"
"""Of several places in a row, as water makes it, and between two of them."""
STRETCHES = {STRETCH_OF.format(impedance) for impedance in ("lower", "higher")}


@dataclass(frozen=True, eq=False)
class Kind:
    """What one place of a uniform line reflects (ABCD matrices; D. M. Pozar, table 4.1)."""

    name: str
    means: str  # on a line (common practice, no source)
    like: str  # what makes it there
    over_band: Form
    sign: int = 1  # of that
    resistive: bool = False  # passes 1 - |r| and takes up the rest; the line goes on behind it
    end: bool = False  # reflects all


CRUSH = Kind(
    "shunt capacitance",
    "capacitance across the line",
    "a crushed or wet place, or an arrestor",
    rising,
    -1,
)
# told by its whole answer over a wide band
GAP = Kind(
    "series capacitance",
    "capacitance in series",
    "a broken conductor or a connector not tightened",
    falling,
)
FAULT_KINDS = (
    Kind("series resistance", "a resistive joint", "", level, resistive=True),
    Kind("shunt resistance", "a leak across the line (a wet joint)", "", level, -1, resistive=True),
    # an antenna far below its resonance is one too
    Kind("open", "an open line", "", level, end=True),
    Kind("short", "a shorted line", "", level, -1, end=True),
    Kind("series inductance", "inductance in series", "a loose joint", rising),
    CRUSH,
    GAP,
)
FORMS = level, rising, falling
JOINTS = "bad joint (a resistance with some inductance)", "wet joint (a leak with some capacitance)"
"""What a place of no one kind may be that goes over the band as one of these."""
RATIOS, MOSTLY = np.geomspace(0.1, 20.0, 40), 1.5
"""Their reactances that are tried, in parts of the resistance; above the second they pass more."""
RESISTIVE = {kind.name for kind in FAULT_KINDS if kind.resistive}
REACTIVE = {kind.name for kind in FAULT_KINDS if kind.over_band is not level}
SLOWING = {kind.name for kind in FAULT_KINDS if kind.over_band is rising}
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
    rings: np.ndarray  # which of them may ring in which, that along the first axis, (K, K)
    loss_known: bool
    off: Real  # how far farther what tells their kinds puts them [m]

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
    def left(self) -> Real:
        """What may be left of the loss, of either sign if that is known [Np/m], shape (F,)."""
        if self.loss_known:
            return LOSS_OFF * self.band.attenuation
        return LOSSIEST * np.sqrt(self.band.frequency / 1e6) * NEPER_PER_DB / 100

    @cached_property
    def goes_as(self) -> dict[Form, np.ndarray]:
        """Which of them each way of going over the band explains, shape (K,)."""
        over_band = np.stack([self._as(form) for form in FORMS], axis=1)
        return dict(zip(FORMS, self._goes(over_band), strict=True))

    @cached_property
    def joints(self) -> np.ndarray:
        """Which of `JOINTS` each may be, by all ratios and by those above `MOSTLY`, (2, 2, K)."""
        each = self._as_joint * np.stack([RATIOS > 0, RATIOS > MOSTLY])[..., None]
        return np.stack([np.any(sign * each > 0, axis=1) for sign in (1, -1)])

    @cached_property
    def _as_joint(self) -> Real:
        """With which sign each may be a joint of each of `RATIOS`, 0 where it may not, (N, K)."""
        over_band = joints(self.size.clip(1e-3, 0.95), RATIOS, self.band)
        means = np.average(over_band, axis=-1, weights=self.band.weight).T
        turned = self.mean * means.conj()
        on_axis = np.abs(np.tan(np.angle(turned))) < np.tan(ON_AXIS)
        return np.sign(turned.real) * (on_axis & self._goes(over_band))

    @cached_property
    def turned(self) -> Real:
        """Most by which the phase of a reactance may turn each resistance [1, d phase / d ln f]."""
        # d atan(x) / d ln f = x / (1 + x^2), x = w L / R
        return np.max((self._as_joint != 0) * (RATIOS / (1 + RATIOS**2))[:, None], axis=0)

    def _goes(self, over_band: Complex) -> np.ndarray:
        """Which of them each way of going over the band (K or 1, N, F) explains, shape (N, K).

        What rings behind an event is part of how it goes over the band.
        """
        known = (self.coefficients / self.mean[:, None])[:, None, None]
        # its coefficients: the shapes are orthonormal under the window
        seen = over_band[:, None, :, self._some] @ self._shapes
        unlike = np.linalg.norm(seen / seen[..., :1] - known, axis=-1).min(axis=1).T
        allowed = UNLIKE + DEVIATIONS * self.uncertainty / self.size
        # what reflects alike at all frequencies
        allowed = allowed + SKEWED * self.lacks * np.all(over_band == 1, axis=-1).T
        return np.asarray(np.hypot(unlike, self._rings) < allowed)

    @property
    def _some(self) -> slice:
        """Points of the band that will do."""
        return slice(None, None, max(1, self.band.frequency.size // 100))

    @cached_property
    def _shapes(self) -> Real:
        """The band's shapes with what may be left of the line's loss, as tried, (K, S, F, P)."""
        some = self._some
        shares = np.linspace(0, 1, 33)
        if self.loss_known:
            most = np.where(self.lacks > 0, LOSSIER / LOSS_OFF, 1)[:, None]
            shares = -1 + (1 + most) * np.linspace(0, 1, 13)
        left = 2 * self.distance[:, None, None] * shares[..., None] * self.left[some]
        left = np.exp(-np.clip(left, -50, 50))  # of places far beyond any line
        return np.asarray(left[..., None] * (self.band.weight * self.band.shapes)[:, some].T)

    @cached_property
    def lacks(self) -> Real:
        """What each lacks that may reflect all, behind cable that loses more than is stated [1]."""
        behind = np.where(self.distance > self.distance[:, None], self.size, 0.0).max(
            axis=1, initial=0.0
        )
        whole = (self.size > LARGE) & (self.size < 1 - FULL) & (behind < ALONE * self.size)
        return np.where(whole, 1 - self.size, 0.0)

    def _as(self, form: Form) -> Complex:
        """What reflects as much as each and goes over the band in one way, shape (K, F)."""
        size = self.size.clip(1e-3, 0.999)
        return form(size, self.band.frequency, self.band.weight)

    @cached_property
    def means(self) -> dict[Form, Complex]:
        """What each way of going over the band has as mean [1], shape (K,)."""
        weight = self.band.weight / self.band.weight.sum()
        return {form: self._as(form) @ weight for form in FORMS}

    @cached_property
    def merged(self) -> Real:
        """How far each place may be that of two seen as one [m], shape (K,), by a narrow band.

        There one place hardly goes over the band, and what does so are places that beat.
        """
        band = self.band
        # sum a_i exp(-j k s_i) over sum a_i: its slope and bend give the spread of the s_i
        first, second = np.abs(self.coefficients[:, 1:3].T) / self.size
        bend = np.maximum(second - 3 * self.uncertainty / self.size, 0)
        spread = np.sqrt(bend / BENDS) * band.resolution
        return np.minimum(np.hypot(first / band.per_metre, spread), band.near) * band.narrow

    @cached_property
    def _rings(self) -> Real:
        """What rings behind each and stands beside it, in parts of it."""
        behind = self.distance - self.distance[:, None]
        ring = (behind > 0) & (behind < NEARBY * self.band.resolution)
        ring &= self.size < GOES_ON * self.size[:, None]
        weak = np.sum(np.where(ring, self.size, 0) ** 2, axis=1)
        return np.asarray(np.sqrt(weak + self.beside**2) / self.size)


Diagnosis = tuple[str, tuple[str, ...]]
"""A kind, and those that fit where it is not known."""


def seems_off(seen: Reflections, kinds: tuple[str, ...]) -> Real:
    """How far each place seems off by the slope of a reactance's phase [m], shape (K,).

    What is of no one kind may hold a reactance as large, and one unlike the fit's slow shapes, as a
    gap is; and a resistance, as much of one as the band does not show (for certain: half of it).
    """
    # r = sin a or cos a, a = arctan(q f), and da / df = sin a cos a / f; a place off by s turns the
    # phase by 4 pi f s / v
    size = np.minimum(seen.size, 1.0)
    middle = seen.band.middle
    wave, from_zero = seen.band.speed / middle, max(seen.band.width / middle - 1, 0.0)
    unclear = np.isin(kinds, (*UNCLEAR, GAP.name))
    turns = unclear | np.isin(kinds, list(REACTIVE))
    beside = np.isin(kinds, list(RESISTIVE)) * seen.turned
    beside = np.where(unclear, 0.5, beside) / np.sqrt(2)  # it is near that, or nil
    turned = np.maximum(turns * size * np.sqrt(1 - size**2), beside)
    unshaped = UNSHAPED * from_zero * seen.band.resolution * unclear
    return np.hypot(turned * wave / (4 * np.pi), unshaped)


def tell_each(seen: Reflections) -> list[Diagnosis]:
    """What each event tells by itself."""
    told, through = [], 1.0  # transmission up to the event, there and back
    for m in range(seen.size.size):
        r = complex(seen.mean[m]) / through
        passed = max(1 - abs(r), 0.0) ** 2
        kind, fits = _told(seen, m, r, passed, through)
        if kind in RESISTIVE and (twin := _twin(seen, through * passed, m)):
            kind, fits = UNKNOWN, (kind, stretch(r.real * twin))
        # a step of impedance or a reactance loses nothing: 1 - |r|^2
        through *= max(passed if kind in RESISTIVE else 1 - abs(r) ** 2, 0.01)
        told.append((kind, fits))
    return told


def stretch(r: float) -> str:
    """A stretch that begins or ends where that is reflected."""
    return STRETCH_OF.format("lower" if r < 0 else "higher")


def _told(seen: Reflections, m: int, r: complex, passed: float, through: float) -> Diagnosis:
    """What event m tells, which reflects r where it is and passes so much if it is resistive.

    The end alone cannot be told from a resistance in shunt with a line whose rest is matched; what
    is seen beyond an event shows that it is not the end.
    """
    u, total = seen.uncertainty[m] / through, abs(r) > 1 - FULL
    gap = None
    if abs(r) > 1 + FULL + 3 * u or (gap := _gap(seen, m, r, through)):
        return (GAP.name, ()) if gap else (UNKNOWN, ())
    goes_on = _goes_on(seen, m, passed, through)
    # an open line or a shorted one may have lost more than is known
    ends = total or (goes_on is None and (seen.lacks[m] > 0 or not seen.loss_known))
    resists = goes_on if goes_on is not None else not total
    could = [
        kind
        for kind in FAULT_KINDS
        if (ends if kind.end else resists if kind.resistive else not total)
        and (kind != GAP or gap is None)
    ]
    phase, narrow = np.hypot(seen.phase_uncertainty[m], u / abs(r)), seen.band.narrow
    sure = phase <= SURE_PHASE
    alike = [kind for kind in could if seen.goes_as[kind.over_band][m]]  # over the band
    fits = [kind for kind in _near(seen, m, r, could, phase) if kind in alike]
    one = len(fits) == 1 and (sure or not narrow)
    if one and (goes_on if fits[0].resistive else total or not fits[0].end):
        return fits[0].name, ()
    if narrow and not (sure and fits):
        # two seen as one go over the band otherwise and lie elsewhere
        near = _near(seen, m, r, could, phase + seen.band.turn * seen.merged[m])
        fits = [kind for kind in near if kind in alike] or near
    names = tuple(k.name for k in sorted(fits, key=lambda k: not (k.end and seen.lacks[m] > 0)))
    settled = sure and ((one and seen.loss_known) or not fits)
    if settled and not names and goes_on is not None and not narrow:
        names = tuple(compress(JOINTS, seen.joints[:, int(not goes_on), m]))
    in_line = abs(seen.mean[m].imag) < ON_AXIS * seen.size[m] and seen.size[m] < SMALL
    if settled and not names and seen.loss_known and seen.goes_as[level][m] and in_line:
        # what goes as a resistance and is none, as what comes from beyond it shows
        return Z_STEP, ()
    return MISMATCH if settled else UNKNOWN, names


def _near(seen: Reflections, m: int, r: complex, could: list[Kind], phase: float) -> list[Kind]:
    """Which kinds lie where event m does, which reflects r there, as its phase is uncertain."""
    off = {k: abs(np.angle(r * k.sign * seen.means[k.over_band][m].conj())) for k in could}
    if GAP in off:  # only a wide band tells the two
        off[GAP] = off[CRUSH] = min(off[GAP], off[CRUSH])
    return [k for k in sorted(off, key=off.__getitem__) if off[k] <= max(ON_AXIS, PHASES * phase)]


def _gap(seen: Reflections, m: int, r: complex, through: float) -> bool | None:
    """Whether event m, which reflects r where it is, is a gap by all of a wide band."""
    if (total := abs(r) > 1 - FULL) or seen.band.narrow:
        return False if total else None  # by a narrow band its phase alone tells, if anything
    way_back, least = 2 * seen.distance[m] * seen.left, -1.0 if seen.loss_known else 0.0
    gap, seen.off[m] = in_series(seen.answer[m] / through, seen.band, way_back, least)
    return gap


def _goes_on(seen: Reflections, m: int, passed: float, through: float) -> bool | None:
    """Whether what lies behind event m shows a resistance before it; None if nothing is seen."""
    near, beyond = seen.apart[m + 1 :] - seen.apart[m] < NEARBY, seen.size[m + 1 :]
    beyond = np.where(beyond > np.where(near, GOES_ON, BARELY) * seen.size[m], beyond, 0.0)
    if not np.any(beyond):
        return None
    most, largest = passed * (1 + FULL), int(np.argmax(beyond))
    if seen.goes_as[level][m + 1 + largest]:
        # an end that reflects alike all over the band tells a step of impedance, which loses
        # nothing, from a resistance: what it shows must be nearer to the latter
        most = min(most, np.sqrt(passed * max(1 - (seen.size[m] / through) ** 2, 0.0)))
    return bool(beyond[largest] / through < most + 3 * seen.uncertainty[m])


def _twin(seen: Reflections, passed: float, m: int) -> int:
    """Whether another event may be the other end of a stretch that begins (1) or ends (-1) at m.

    Not one that reflects all that a resistance at m would pass, as the end of the line does.
    """
    size, against = seen.size, -(seen.mean * np.sign(seen.mean[m].real)).real
    beyond = np.arange(size.size) > m
    # the far end of a stretch reflects -r (1 - r^2) where its near end reflects r
    expected = np.where(beyond, size[m] * (1 - size[m] ** 2), size[m])
    end = beyond & seen.goes_as[level] & (np.abs(size / passed - 1) < FULL)
    twins = (against > expected / TWIN) & (size < expected * TWIN) & ~end
    return (-1 if np.any(twins[:m]) else 1) * int(np.any(twins))
