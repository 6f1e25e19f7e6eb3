"""A line's own properties from sweeps with its far end open and short.

Point by point, impedance and round trip follow from the two sweeps, but near multiples of a
quarter wave hardly any of the readings depends on the impedance. A fit over the band reports the
properties instead: delay, impedance and the two terms of the loss law, losses never below zero.
To remove a line, use its measured map (`measurement.deembedding.LineBySweeps`), never the fit.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.feedline.fit import (
    EXCHANGED,
    NO_LINE,
    FarEnds,
    LineProperties,
    coarse_delay,
    fit_line,
)
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import SPEED_OF_LIGHT, Line

NARROW = 0.5
"""Below this share of the middle frequency a span may leave impedance and delay to each other."""
RIVAL = 3.0
"""Another line would do whose misfit is below so many times the best's or the expected one."""
SLOWEST, FOLLOWED = 0.5, 0.4
"""Velocity factor [1] of the slowest of usual lines (common practice, no source); and turns of the
round trip from point to point up to which its phase is followed."""
STARTS, FOLDS = 8, 3
"""Starts of the fit that are tried, and ranges of the sweep that a line is sought in."""
MOST_RATIO = 16.0
"""Lines are sought up to this far from the reference impedance, either way [1]."""


def measure_line(
    swept: FarEnds,
    *,
    velocity_factor: float = defaults.VELOCITY_FACTOR,
    length_m: float | None = None,
) -> LineProperties:
    """Delay, impedance and loss of a line from sweeps with its far end open and short.

    One of the two sweeps will do, on trust that the line is uniform, its loss follows the loss
    law and its far end is what it is said to be; two check each other. By a length the velocity
    factor follows.
    """
    found = _best(swept, velocity_factor, length_m)
    return found if length_m is None else _of_length(found, length_m)


def measure_unfollowed(swept: FarEnds, velocity_factor: float) -> LineProperties | None:
    """A line that turns too far from point to point to be followed: the shortest that fits.

    None where it can be followed, or none fits.
    """
    delays = _folded(swept)
    if followed(swept.frequency, delays[0]):
        return None
    for delay in delays:
        try:
            found = fit_line(_start(delay, velocity_factor, swept.z_ref), swept)
        except CalibrationError:
            continue  # no line so long
        if found.fits:
            return found
    return None


def _start(delay_s: float, velocity_factor: float, z0: float) -> Line:
    """A line of usual loss to start a fit from."""
    length = max(delay_s, 1e-12) * velocity_factor * SPEED_OF_LIGHT
    return Line(length, velocity_factor, z0, 0.5, 0.005)


def _of_length(found: LineProperties, length_m: float) -> LineProperties:
    """The same line by its length [m]: its delay, and its loss in all, stay."""
    velocity = length_m / found.delay_s / SPEED_OF_LIGHT
    if velocity > 1:
        raise CalibrationError(
            f"by its delay of {1e9 * found.delay_s:.4g} ns a line of {length_m:g} m is faster than "
            f"light (velocity factor {velocity:.3g}): look at its length, and at the sweeps"
        )
    share = found.line.length_m / length_m
    line = replace(
        found.line,
        length_m=length_m,
        velocity_factor=velocity,
        conductor_db=found.line.conductor_db * share,
        dielectric_db=found.line.dielectric_db * share,
    )
    scale = np.array([1.0, 1.0, share, share])
    return replace(found, line=line, covariance=found.covariance * scale * scale[:, None])


def _best(swept: FarEnds, velocity: float, length_m: float | None) -> LineProperties:
    """The fit from the best of many starts, unless another line would do as well."""
    frequency, one_end = swept.frequency, len(swept.ends) == 1
    if frequency.size < 5:
        raise CalibrationError(
            f"{frequency.size} points leave a line's length ambiguous; sweep five or more"
        )
    narrow = bool(np.ptp(frequency) < NARROW * np.mean(frequency))
    found: list[LineProperties] = []
    errors: list[CalibrationError] = []
    starts = _starts(swept, narrow and one_end)
    if length_m is not None and not followed(frequency, length_m / SLOWEST / SPEED_OF_LIGHT):
        starts = iter([(swept.z_ref, delay) for delay in _delays(swept, length_m)])
    for z0, start in starts:
        try:
            delay = start if isinstance(start, float) else coarse_delay(frequency, start)
            found.append(fit_line(_start(delay, velocity, z0), swept))
        except CalibrationError as error:
            errors.append(error)
        if found and found[-1].fits and not narrow and not isinstance(start, float):
            return found[-1]
    if not found:
        raise errors[0]
    best, *others = sorted(found, key=lambda one: one.residual)
    _require_no_rival(frequency, best, others, best.expected_residual if one_end else 0.0)
    if not best.fits and one_end:
        raise NotThisLineError(NO_LINE)
    if narrow and not one_end and _exchanged(best, swept):
        raise NotThisLineError(EXCHANGED)
    return best


def followed(frequency: Real, delay_s: float) -> bool:
    """Whether the phase of a line of a delay can be followed from point to point."""
    return bool(2 * delay_s * np.max(np.diff(frequency)) <= FOLLOWED)


def _delays(swept: FarEnds, length_m: float) -> list[float]:
    """Delays [s] that a line so long may have, those first whose round trip is like the sweeps."""
    shortest = length_m / SPEED_OF_LIGHT
    return _likest(swept, shortest, shortest / SLOWEST)[:STARTS]


def _folded(swept: FarEnds) -> list[float]:
    """Delays [s] of a line whose round trip may turn by any whole turns more in each step."""
    fold = 1 / (2 * float(np.mean(np.diff(swept.frequency))))
    likest = _likest(swept, 0, fold)[0]
    return [likest + turns * fold for turns in range(FOLDS)]


def _likest(swept: FarEnds, least: float, most: float) -> list[float]:
    """Delays between two [s], those first whose round trip is like the sweeps."""
    delay = np.arange(least, most, 1 / (8 * np.ptp(swept.frequency)))
    # |sum of trip exp(+j 4 pi f delay)| is largest where the round trip is exp(-j 4 pi f delay)
    trip = swept.round_trip(swept.z_ref)
    alike = np.abs(np.exp(4j * np.pi * delay[:, None] * swept.frequency) @ trip)
    return [float(d) for d in delay[np.argsort(-alike)]]


def _exchanged(best: LineProperties, swept: FarEnds) -> bool:
    """Whether a line a quarter wave longer or shorter, its ends exchanged, fits clearly better."""
    other_way = replace(swept, ends={-end: sweep for end, sweep in swept.ends.items()})
    speed = best.line.velocity_factor * SPEED_OF_LIGHT
    for turn in (-1, 1):
        delay = best.delay_s + turn / (4 * float(np.mean(swept.frequency)))
        line = replace(best.line, length_m=max(delay, 1e-12) * speed)
        try:
            other = fit_line(line, other_way)
        except CalibrationError:
            continue  # no line that way
        if other.residual < 0.6 * best.residual:
            return True
    return False


def _starts(swept: FarEnds, every: bool) -> Iterator[tuple[float, Complex | float]]:
    """Impedances [ohm] to start a fit from, each with the line's round trip or its delay [s].

    Seen in a reference near the line's own impedance, the phase of the round trip is straight:
    the straightest come first. One sweep of a narrow band leaves impedance and delay to each
    other: then all pairs that agree with it in the middle of the band are looked at besides.
    """
    starts = []
    for z0 in swept.z_ref * np.geomspace(1 / MOST_RATIO, MOST_RATIO, 33):
        trip = swept.round_trip(z0)
        phase = np.unwrap(np.angle(trip))
        slope, offset = np.polyfit(swept.frequency, phase, 1)
        bend = float(np.std(phase - slope * swept.frequency - offset))
        starts.append((bend, float(z0), trip, float(slope), float(offset)))
    starts.sort(key=lambda start: start[0])
    yield from ((z0, trip) for _, z0, trip, *_ in starts[:STARTS])
    if every:
        yield from _pairs(swept, np.array([(z0, *trend) for _, z0, _, *trend in starts]))


def _pairs(swept: FarEnds, trends: Real) -> list[tuple[float, float]]:
    """The impedances and delays that come nearest to one sweep, by its phase in mid-band.

    Of impedances, and slope and offset of the phase in each, shape (N, 3).
    """
    # phase = -4 pi f delay, up to whole turns
    centre, found = float(np.mean(swept.frequency)), []
    longest = -np.min(trends[:, 1]) / (2 * np.pi) + 1 / centre
    for z0, slope, offset in trends[::2].tolist():
        first = (-(slope * centre + offset) / (4 * np.pi * centre)) % (1 / (2 * centre))
        for delay in np.arange(first, longest, 1 / (2 * centre)):
            off = swept.off(_start(delay, 1.0, z0))
            found.append((float(np.mean(np.abs(off) ** 2)), z0, float(delay)))
    return [(z0, delay) for _, z0, delay in sorted(found)[: 2 * STARTS]]


def _require_no_rival(
    frequency: Real, best: LineProperties, others: list[LineProperties], least: float
) -> None:
    """Refuse a length when a clearly different one explains the sweeps about as well."""
    other = max(0.02 * best.delay_s, 5 * best.standard_uncertainty["delay"])
    enough = RIVAL * max(best.residual, least)
    rivals = [o for o in others if abs(o.delay_s - best.delay_s) > other and o.residual < enough]
    if rivals:
        rival = min(rivals, key=lambda one: one.residual)
        raise CalibrationError(
            f"a sweep from {frequency[0] / 1e6:.6g} to {frequency[-1] / 1e6:.6g} MHz leaves the "
            f"line's length ambiguous: {best.line.length_m:.3g} m of {best.line.z0:.3g} ohm and "
            f"{rival.line.length_m:.3g} m of {rival.line.z0:.3g} ohm explain it alike (at the "
            "stated velocity factor). Sweep the far end both open and short, or a span of "
            f"{NARROW * float(np.mean(frequency)) / 1e6:.3g} MHz or more"
        )
