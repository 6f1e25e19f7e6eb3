"""The fit of a uniform line to sweeps with its far end open and short, from one start."""

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.uncertainty.quantity import Quantity, both_axes

MISFIT, LEAST_MISFIT = 2.5, 0.006
"""A fit is none where its residual is this many times the expected one, and of this size [1]."""
LEAST_TURNS = 0.1
"""Turns of the round trip over the band with which a fit that fails tells something."""
EXCHANGED = (
    "the far end's sweeps are half a turn off at zero frequency: look whether open and short are "
    "exchanged, or whether the steps are too wide for so long a line"
)
NO_LINE = (
    "the far end's sweeps are not those of a line with its end open or short: look whether they "
    "are exchanged, or whether something else was connected"
)


@dataclass(frozen=True, eq=False)
class LineProperties:
    """What a line is, fitted over the band."""

    line: Line  # The line with the velocity factor and length that go with its delay.
    delay_s: float  # One-way delay [s].
    # Of delay [s], z0 [ohm], conductor and dielectric loss [dB per 100 m at 1 MHz]: from the
    # scatter about the fit, and from the sweeps' effects that are common to all frequencies. (4,
    # 4)
    covariance: Real
    residual: float  # Root mean square of what the fit leaves of the reflections [1].
    # What the sweeps' own effects and the far end's would leave of them [1].
    expected_residual: float

    @property
    def fits(self) -> bool:
        """Whether a uniform line explains the sweeps, as far as they are known."""
        return self.residual < max(MISFIT * self.expected_residual, LEAST_MISFIT)

    @property
    def standard_uncertainty(self) -> dict[str, float]:
        """Of ``delay`` [s], ``z0`` [ohm], ``conductor`` and ``dielectric`` [dB per 100 m]."""
        names = ("delay", "z0", "conductor", "dielectric")
        return dict(zip(names, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))

    def loss_db(self, frequency: Real) -> tuple[Real, Real]:
        """Matched loss of the whole line."""
        share, megahertz = self.line.length_m / 100, np.asarray(frequency, float) / 1e6
        by_term = np.stack([np.sqrt(megahertz), megahertz], axis=-1) * share
        variance = np.einsum("fi,ij,fj->f", by_term, self.covariance[2:, 2:], by_term)
        return self.line.loss_db_per_100m(frequency) * share, np.sqrt(variance)


def fit_line(
    start: Line, frequency: Real, ends: dict[float, Quantity], z_ref: float, far_end: float
) -> LineProperties:
    """Least squares over the sweeps."""
    from scipy.optimize import least_squares

    measured = np.concatenate([sweep.value for sweep in ends.values()])
    weight = 1.0  # first with a developed skin effect, then as the sweeps tell

    def fitted(values: Real) -> Line:
        scale, z0, conductor, dielectric, skin = (float(v) for v in values)
        return Line(start.length_m * scale, start.velocity_factor, z0, conductor, dielectric, skin)

    def misfit(values: Real) -> Real:
        through = fitted(values).two_port(frequency).bilinear(z_ref)
        seen = [through.apply(np.full(frequency.size, end, complex)) for end in ends]
        difference = np.concatenate(seen) - measured
        known = weight * (values[4] - 1) / defaults.SKIN_EFFECT
        return np.concatenate([difference.real, difference.imag, [known]])

    values = np.array([1.0, start.z0, start.conductor_db, start.dielectric_db, 1.0])
    for _ in range(3):
        found = least_squares(
            misfit,
            values,
            bounds=([0.5, z_ref / 20, 0, 0, -1], [2.0, z_ref * 20, np.inf, np.inf, 3]),
            x_scale=[1e-3, 1.0, 0.1, 0.01, 0.1],
        )
        values, size = found.x, found.fun.size - found.x.size
        weight = float(np.sqrt(2 * found.cost / size)) + 1e-9
    # at a bound of the search, or of no length, it is not this line that was swept; where its
    # round trip hardly turns over the band it may be
    if not (0.51 < values[0] < 1.99 and start.length_m > 0 and 0.06 < values[1] / z_ref < 19):
        span = frequency[-1] - frequency[0]
        turns = 2 * abs(start.length_m) / start.velocity_factor / SPEED_OF_LIGHT * span
        raise (NotThisLineError if turns > LEAST_TURNS else CalibrationError)(NO_LINE)
    line = fitted(values)
    through = line.two_port(frequency).bilinear(z_ref)
    slopes = [through.derivative(np.full(frequency.size, end)) for end in ends]
    changes = _common(ends, far_end, slopes)
    solve = np.linalg.pinv(found.jac)
    moved = solve[:, :-1] @ np.concatenate([changes.real, changes.imag])
    left = found.fun[:-1].reshape(2 * len(ends), -1)
    delay = line.length_m / line.velocity_factor / SPEED_OF_LIGHT
    scale = np.array([delay / values[0], 1.0, 1.0, 1.0, 1.0])
    covariance = solve @ solve.T * weight**2 * _bunched(left) + moved @ moved.T
    pairs = zip(ends.values(), slopes, strict=True)
    known = [2 * s.variance() + 2 * (far_end * np.abs(slope)) ** 2 for s, slope in pairs]
    return LineProperties(
        line,
        delay,
        (covariance * scale * scale[:, None])[:4, :4],
        float(np.sqrt(2 * np.mean(left**2))),
        float(np.sqrt(np.mean(known))),
    )


def _bunched(left: Real) -> float:
    """By how much residuals that follow one another raise the variance of what is fitted.

    Source: effective sample size of a first-order autoregressive series, ``(1 + r) / (1 - r)``.
    """
    product = float(np.sum(left[:, 1:] * left[:, :-1]))
    follows = min(max(product / max(float(np.sum(left**2)), 1e-300), 0.0), 0.98)
    return (1 + follows) / (1 - follows)


def _common(ends: dict[float, Quantity], far_end: float, slopes: list[Complex]) -> Complex:
    """Changes of all sweeps by each influence common to all frequencies, one column each.

    What differs from point to point shows as scatter about the fit and is counted there.
    """
    size = slopes[0].size
    columns: dict[Hashable, Complex] = {}
    for k, (sweep, slope) in enumerate(zip(ends.values(), slopes, strict=True)):
        own = both_axes("far end", far_end, slope=slope, influence=("far end", k))
        for effect in (*sweep.effects, *own):
            if effect.per_point:
                continue
            column = columns.setdefault(effect.influence, np.zeros(size * len(ends), complex))
            column[k * size : (k + 1) * size] += effect.change
    return np.stack(list(columns.values()), axis=-1)


def _inside_conductors(frequency: Real, round_trip: Complex) -> Real:
    """Phase that the skin effect takes [rad], as it goes with the root of frequency as its loss.

    Left in, it would carry a lossy line's phase at zero frequency off by half of it.
    """
    from scipy.optimize import nnls

    lost = -np.log(np.maximum(np.abs(round_trip), 1e-12))
    root = np.sqrt(frequency)
    (conductor, _), _ = nnls(np.stack([root, frequency], axis=-1) / frequency[-1], lost)
    return np.asarray(conductor * root / frequency[-1])


def require_points(frequency: Real) -> None:
    """Refuse a sweep with too few points to tell a line's length."""
    if frequency.size < 5:
        raise CalibrationError(
            f"{frequency.size} points leave a line's length ambiguous; sweep five or more"
        )


def coarse_delay(frequency: Real, round_trip: Complex) -> float:
    """One-way delay from the phase of a line's round trip, on the branch that fits the band.

    The phase of a line's round trip is zero at zero frequency. The slope over the band gives a
    delay; carried back to zero frequency it must come to a whole number of turns, which fixes the
    delay much better.
    """
    require_points(frequency)
    phase = np.unwrap(np.angle(round_trip)) + _inside_conductors(frequency, round_trip)
    step = np.abs(np.diff(phase))
    if np.max(step) > 0.8 * np.pi:
        raise CalibrationError(
            f"the round trip turns by {np.degrees(np.max(step)):.0f} degrees between neighbouring "
            f"points, so the line's length is ambiguous: sweep in steps below "
            f"{np.min(np.diff(frequency)) / 2e6:.3g} MHz"
        )
    slope, at_zero = np.polyfit(frequency, phase, 1)
    if slope * (frequency[-1] - frequency[0]) > np.pi:
        raise CalibrationError(
            "the round trip seems to turn backwards, so the steps are too wide for the line's "
            f"length: sweep in steps below {np.min(np.diff(frequency)) / 2e6:.3g} MHz"
        )
    scatter = np.std(phase - (slope * frequency + at_zero))
    span = frequency[-1] - frequency[0]
    # how far the intercept may be off: scatter carried from the band down to zero
    doubt = 3 * scatter * (frequency[0] / span + 1)
    turns = np.round(at_zero / (2 * np.pi))
    off = float(np.abs(at_zero - 2 * np.pi * turns))
    if off > np.pi / 2 and doubt < np.pi / 4:
        raise NotThisLineError(EXCHANGED)
    if off + doubt > np.pi:
        # the span at which the same scatter leaves a quarter of a turn of doubt
        needed = 3 * scatter * frequency[0] / max(np.pi / 2 - 3 * scatter, 1e-3)
        raise CalibrationError(
            f"a sweep from {frequency[0] / 1e6:.6g} to {frequency[-1] / 1e6:.6g} MHz leaves the "
            f"line's length ambiguous by {SPEED_OF_LIGHT / (2 * frequency.mean()):.3g} m times the "
            f"velocity factor: sweep a wider span, {max(needed, 2 * span) / 1e6:.3g} MHz or more, "
            "or start lower"
        )
    # least squares through that point at zero frequency: phase = -4 pi f delay
    unwound = phase - 2 * np.pi * turns
    return float(-(frequency @ unwound) / (frequency @ frequency) / (4 * np.pi))
