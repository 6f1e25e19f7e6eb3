"""From standards and their raw readings to the error terms, and how far these can be trusted."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.findings import span_mhz
from rfcal.maths.arguments import frozen
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.models.interpolation import between_points
from rfcal.uncertainty.quantity import Effect, Quantity, Swept, blocks, both_axes

APART = 4.0
"""Standards nearer to each other than this many joint standard uncertainties are as one."""

CONDITION_LIMIT = 1e6
"""Condition number above which the standards fix nothing, whatever their uncertainty."""
PLAUSIBLE = {"directivity": 0.7, "source match": 0.8, "reflection tracking": 2.0}
"""Sizes of error terms beyond which they are no analyzer's (common practice, no source)."""
LONGEST_S = 150e-9
"""Round trip of the longest lead before the standards' plane, 15 m of cable (common practice, no
source): steps in which it turns by a whole turn do not show which way the tracking turns."""
BACKWARD_S = 35e-12
"""Round trip by which standards of one's own making may hide a delay: 3.5 mm of cable (common
practice, no source)."""
BEYOND_CHANCE = 6.0
"""So many standard deviations off is no chance: once in 10^4 at eleven points, in 10^6 at thirty,
and as it must be beyond what leads explain too, it takes next to no part of that of a false
alarm."""
FEWEST = 11
"""Points from which a line through phases is judged by their own scatter."""
KNOWN_RAD = 0.15
"""Doubt of the phase at zero frequency up to which its sign can be told [rad]."""


@dataclass(frozen=True, eq=False)
class Calibration(Swept):
    """Error terms of one set of standards, with all that went into them."""

    names: tuple[str, ...]  # of the standards
    frequency: Real  # [Hz], shape (F,)
    known: tuple[Quantity, ...]  # reflection of each standard as connected [1]
    seen: tuple[Quantity, ...]  # raw reading of each [1]
    weight: tuple[Real, ...] | None  # of the least-squares fit; None for three standards
    error_box: Bilinear  # the analyzer, and all between it and the reference plane, as one map
    condition: Real  # condition number [1]: how well the standards are spread
    # what interpolation adds to directivity, source match and (relative) tracking, as standard
    # uncertainty, shape (3, F)
    doubt: Real | None = None

    def __post_init__(self) -> None:
        for name in ("frequency", "condition", "doubt"):
            if (values := getattr(self, name)) is not None:
                object.__setattr__(self, name, frozen(values, name, copy=False))

    def residuals(self) -> Complex:
        """Corrected reading of each standard minus what it is [1], at the plane, shape (S, F)."""
        return self.error_box.correct(_values(self.seen)) - _values(self.known)

    def misfits(self) -> Real:
        """Squared residuals over their variances, shape (S, F)."""
        steady = _steady(self.seen)  # one scatter for all, which so few readings can tell
        variance = _variance_at_plane(self.known, steady, self.error_box)
        return np.abs(self.residuals()) ** 2 / np.maximum(variance, 1e-30)

    def chi_square(self) -> tuple[Real, int]:
        """The misfits of all standards, shape (F,), and degrees of freedom."""
        return np.sum(self.misfits(), axis=0), 2 * (len(self.names) - 3)

    def disagrees(self, chance: float) -> np.ndarray:
        """Where the standards contradict each other beyond what chance allows.

        Errors along one axis only, such as a delay's, scatter chi-square more than errors of both
        parts: it is judged with as many degrees of freedom as its own variance has (source:
        Satterthwaite's approximation, of the least isotropic standard).
        """
        if len(self.names) == 3:
            return np.zeros(self.frequency.shape, bool)
        total, freedom = self.chi_square()
        from scipy.special import chdtri

        shares = []
        for known, seen in zip(self.known, self.seen, strict=True):
            at_plane = seen.through(known.value, 1 / self.error_box.derivative(known.value))
            c = known.covariance() + at_plane.covariance() + 1e-30 * np.eye(2)
            shares.append(np.trace(c, axis1=1, axis2=2) ** 2 / (2 * np.sum(c**2, axis=(1, 2))))
        effective = freedom * np.min(shares, axis=0)
        return np.asarray(total > freedom / effective * chdtri(effective, chance))

    def with_known(self, known: Sequence[Quantity]) -> "Calibration":
        """The calibration by the same readings of other standards, fitted anew."""
        g, m = [k.value for k in known], [s.value for s in self.seen]
        return replace(self, known=tuple(known), error_box=Bilinear.fit(g, m, self.weight))

    def at(self, frequency: Real, known: Sequence[Quantity]) -> "Calibration":
        """The same calibration at frequencies [Hz] between its points, the standards known there.

        Refused outside its range, and where error terms turn too fast between points.
        """
        box = self.error_box
        terms = np.array([box.directivity, box.source_match, box.reflection_tracking])
        what = "the error terms from the standards"
        cure = "measure the standards at the device's frequencies, or in finer steps"
        values, doubt = between_points(frequency, self.frequency, terms, what=what, cure=cure)
        doubt[2] /= np.abs(values[2])
        new = Bilinear.from_error_terms(*values)
        seen = tuple(
            Quantity(new.apply(k.value), tuple(self._moved(e, frequency) for e in s.effects))
            for k, s in zip(known, self.seen, strict=True)
        )
        weight = self.weight and tuple(np.interp(frequency, self.frequency, w) for w in self.weight)
        condition = np.interp(frequency, self.frequency, self.condition)
        return Calibration(self.names, frequency, tuple(known), seen, weight, new, condition, doubt)

    def _moved(self, effect: Effect, frequency: Real) -> Effect:
        change = np.broadcast_to(effect.change, self.frequency.shape)
        moved = np.interp(frequency, self.frequency, change)
        return replace(effect, change=moved)

    def by_drift(self, x: Complex) -> dict[str, Complex]:
        """What each error term changes of what is seen of x [1], tracking by its logarithm."""
        # seen = e00 + e01e10 x / (1 - e11 x)
        inside = x / (1 - self.error_box.source_match * x)
        relative = self.error_box.reflection_tracking * inside
        ones = np.ones_like(inside)
        return {"directivity": ones, "source match": relative * inside, "tracking": relative}


def solve(
    frequency: Real,
    names: Sequence[str],
    known: Sequence[Quantity],
    seen: Sequence[Quantity],
) -> Calibration:
    """Solve the error terms from three standards or more.

    More than three are weighted by the inverse of their variance as it appears in the fitted
    equation; that variance depends on the error terms, so the weights are renewed once.
    """
    if len(known) < 3:
        raise CalibrationError(
            f"{len(known)} standards were given, and three unknown error terms need three or more"
        )
    condition = require_apart(frequency, names, known, seen)
    g, m = [k.value for k in known], [s.value for s in seen]
    weight = None
    if len(known) > 3:
        steady = _steady(seen)
        first = _inverse(k.variance() + s.variance() for k, s in zip(known, steady, strict=True))
        box = Bilinear.fit(g, m, first)
        at_plane = _variance_at_plane(known, steady, box)
        # the equation's residual is (c g + 1) f'(g) times the misfit at the plane
        scale = [np.abs((box.c * x + box.d) * box.derivative(x)) ** 2 for x in g]
        weight = _inverse(v * s for v, s in zip(at_plane, scale, strict=True))
    box = Bilinear.fit(g, m, weight)
    return Calibration(tuple(names), frequency, tuple(known), tuple(seen), weight, box, condition)


def drift_effects(
    label: str,
    calibration: Calibration,
    reading: Complex,
    deviation: Real | float,
    what: str = "drift",
) -> tuple[Effect, ...]:
    """What the analyzer's change between calibration and measurement adds to a raw reading [1].

    Directivity, source match and (relative) tracking each drift by the same standard uncertainty
    [1] in both axes, independently, and alike at all frequencies, or each by its own, shape (3, F).
    Each labelled reading has its own time, and so a drift of its own.
    """
    slopes = calibration.by_drift(calibration.error_box.correct(reading))
    each = zip(slopes.items(), np.broadcast_to(deviation, (3, reading.size)), strict=True)
    pairs = (
        both_axes(f"{what}: {term}", own, slope=slope, influence=(label, what, term))
        for (term, slope), own in each
    )
    return tuple(effect for pair in pairs for effect in pair)


def self_correcting(
    frequency: Real, *, directivity: float, source_match: float, tracking: float
) -> Calibration:
    """A calibration that changes nothing, uncertain by what the instrument's own leaves.

    A residual is a size [1] whose phase is not known; the standard uncertainty of each axis is the
    size over the root of two, the root mean square over all phases. All three are common to all
    that is read through the calibration, as readings of exact standards that are off by them.
    """
    ones = np.ones(np.shape(frequency), complex)
    sizes = {"directivity": directivity, "tracking": tracking, "source match": source_match}
    axes = [both_axes(f"residual {n}", size / np.sqrt(2)) for n, size in sizes.items()]
    known = tuple(Quantity(x * ones) for x in (-1, 1, 0))
    # to first order a reflection x is seen as x + directivity + tracking x + source_match x^2
    seen = tuple(
        q.plus(*(e.scaled(q.value**k) for k, pair in enumerate(axes) for e in pair)) for q in known
    )
    box = Bilinear.from_error_terms(0 * ones, 0 * ones, ones)
    return Calibration(
        ("short", "open", "load"), frequency, known, seen, None, box, np.ones(ones.shape)
    )


def _steady(seen: Sequence[Quantity]) -> list[Quantity]:
    """The readings with one scatter for all that were repeated and all frequencies.

    A scatter of few readings at one frequency is often small by chance: as a weight it would
    favour that reading, and the fit would be worse than it says.
    """
    parts = [Quantity(s.value, tuple(e for e in s.effects if np.isfinite(e.freedom))) for s in seen]
    scatters = [np.mean(part.variance()) for part in parts if part.effects]
    pooled = both_axes("repeats", np.sqrt(np.mean(scatters)) if scatters else 0.0)
    return [
        Quantity(s.value, (*(e for e in s.effects if not np.isfinite(e.freedom)), *pooled))
        if part.effects
        else s
        for s, part in zip(seen, parts, strict=True)
    ]


def _inverse(variances) -> tuple[Real, ...]:
    """Weights; the floor keeps standards said to be perfect finite, and equal to each other."""
    return tuple(1 / np.maximum(v, 1e-18) for v in variances)


def _variance_at_plane(known: Sequence[Quantity], seen: Sequence[Quantity], box: Bilinear) -> Real:
    """Variance per axis of each standard's misfit, as reflection at the plane, shape (S, F)."""
    own, read = (np.array([q.variance() for q in of]) for of in (known, seen))
    return own + read / np.abs(box.derivative(_values(known))) ** 2


def _values(of: Sequence[Quantity]) -> Complex:
    """Of all, shape (S, F)."""
    return np.array([q.value for q in of])


_ALIKE = (
    ("are defined", "look at their values and units (H, F, ohm), or use another standard"),
    ("were read", "look whether one sweep was saved twice, or use another standard"),
)
"""How standards may be too much alike, and what to do."""


def require_apart(
    frequency: Real, names: Sequence[str], known: Sequence[Quantity], seen: Sequence[Quantity]
) -> Real:
    """Refuse standards that leave fewer than three distinct points at some frequency.

    Else the condition number of their spread, shape (F,): of the matrix with rows 1, g, g^2.
    """
    g = _values(known)
    for name, k, s in zip(names, known, seen, strict=True):
        if np.any(bad := ~(np.isfinite(k.value) & np.isfinite(s.value))):
            raise CalibrationError(
                f"the standard '{name}' has no finite reflection {span_mhz(frequency, bad)}: look "
                "at the numbers and units of its definition"
            )
    for points, (what, advice) in zip((known, seen), _ALIKE, strict=True):
        together, lost = _together(points)
        if np.any(lost):
            pairs = [p for p, near in together.items() if np.any(near & lost)]
            alike = " and ".join(dict.fromkeys(f"'{names[i]}'" for p in pairs for i in p))
            raise CalibrationError(
                f"the standards {alike} {what} alike {span_mhz(frequency, lost)}, as far as they "
                f"are known, and three that differ are needed: {advice}"
            )
    condition = _condition(g)
    if np.any(bad := condition > CONDITION_LIMIT):
        raise CalibrationError(
            f"the standards {', '.join(names)} lie too close together "
            f"{span_mhz(frequency, bad)} (condition number {np.max(condition):.3g}): "
            "use standards further apart on the chart"
        )
    return condition


def _condition(g: Complex) -> Real:
    """The condition number of standards' spread, shape (F,)."""
    parts = []
    for index in blocks(g.shape[-1]):
        here = g[:, index]
        powers = np.stack([np.ones_like(here), here, here * here])
        squares = np.linalg.eigvalsh(np.einsum("isf,jsf->fij", powers.conj(), powers))
        parts.append(np.sqrt(squares[:, 2] / np.maximum(squares[:, 0], 1e-300)))
    return np.concatenate(parts)


def _together(
    points: Sequence[Quantity],
) -> tuple[dict[tuple[int, int], np.ndarray], np.ndarray]:
    """Where pairs of points are equal within their joint uncertainty, and where no three differ.

    As soon as three differ everywhere, the others are not looked at.
    """
    spread = [p.variance() + 1e-24 for p in points]
    together, differ = dict[tuple[int, int], np.ndarray](), np.zeros(points[0].value.shape, int)
    for j, point in enumerate(points):
        earlier = {
            (i, j): np.abs(other.value - point.value)
            <= APART * np.sqrt(2 * (spread[i] + spread[j]))
            for i, other in enumerate(points[:j])
        }
        together |= earlier
        differ += ~np.any([*earlier.values()], axis=0)
        if np.all(differ >= 3):
            break
    return together, differ < 3


def implausible(box: Bilinear) -> dict[str, np.ndarray]:
    """Where each error term is larger than an analyzer's; only those that are somewhere."""
    terms = (box.directivity, box.source_match, box.reflection_tracking)
    beyond = {
        name: np.abs(term) > limit
        for (name, limit), term in zip(PLAUSIBLE.items(), terms, strict=True)
    }
    return {name: where for name, where in beyond.items() if np.any(where)}


@dataclass(frozen=True)
class Turn:
    """How the phase of the reflection tracking goes over frequency: a line through it."""

    delay: float  # [s]
    doubt: float  # its standard uncertainty [s]
    at_zero: float  # phase at zero frequency [rad]
    middle: float  # frequency about which the line is known best [Hz]

    @property
    def backward(self) -> bool:
        """Whether it turns anticlockwise, as no delay does."""
        return self.delay < -max(BACKWARD_S, BEYOND_CHANCE * self.doubt)

    @property
    def half(self) -> bool:
        """Whether it goes back to half a turn at zero frequency, and surely so."""
        known = 2 * np.pi * self.doubt * self.middle < KNOWN_RAD
        return known and np.pi - abs(self.at_zero) < BEYOND_CHANCE * KNOWN_RAD


def turn_of(tracking: Complex, frequency: Real, seen: Sequence[Quantity]) -> Turn | None:
    """How a tracking turns; None where too few points, or too far apart, show a line.

    It is that in the readings' own reference: in another it is no transmission. Few points are as
    doubtful as what was `seen` of the standards is by noise and by the display's step.
    """
    if frequency.size < 3:
        return None
    step = float(np.max(np.diff(frequency)))
    phase = np.unwrap(np.angle(tracking)) / (2 * np.pi)
    middle = float(np.mean(frequency))
    slope, level = np.polyfit(frequency - middle, phase, 1)
    if (1 - abs(slope) * step) / step < LONGEST_S:
        return None
    scatter = np.std(phase - level - slope * (frequency - middle))
    doubt = scatter / (np.std(frequency) * np.sqrt(frequency.size - 2))
    if frequency.size < FEWEST:
        own = [np.mean(np.abs(e.change) ** 2) for s in seen for e in s.effects if e.per_point]
        # a phase is off by about as much as one axis of one reading [turns]
        noise = np.sqrt(sum(own) / 2 / len(seen)) / (2 * np.pi)
        doubt = max(doubt, noise / (np.std(frequency) * np.sqrt(frequency.size)))
        if 2 * np.pi * doubt * middle > KNOWN_RAD:
            return None
    at_zero = float(np.angle(np.exp(2j * np.pi * (level - slope * middle))))
    return Turn(-slope, doubt, at_zero, middle)
