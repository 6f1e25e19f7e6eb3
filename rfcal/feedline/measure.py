"""A line's own properties from sweeps with its far end open and short.

Point by point, impedance and round trip follow from the two sweeps, but near multiples of a
quarter wave hardly any of the readings depends on the impedance. A fit over the band reports the
properties instead: delay, impedance and the two terms of the loss law, losses never below zero.
To remove a line, use its measured map (`measurement.deembedding.LineBySweeps`), never the fit.
"""

from dataclasses import replace

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.feedline.fit import (
    ENDS_EXCHANGED,
    NO_LINE,
    OR_FAULT,
    FarEnds,
    LineProperties,
    fit_line,
)
from rfcal.maths.reflection import Real
from rfcal.models.line import SPEED_OF_LIGHT, Line

NARROW = 0.5
"""Below this share of the middle frequency a span may leave impedance and delay to each other."""
RIVAL = 3.0
"""Another line would do whose misfit is below so many times the best's or the expected one."""
SLOWEST, FASTEST = 0.5, 0.98
"""Velocity factors [1] that lines are between: an air-spaced one has some 0.95 (value from memory),
and usual ones more than the first (common practice, no source)."""
USUAL = 0.6
"""What no usual cable is below [1]: solid polyethylene has 0.66 (common practice, no source)."""
FOLLOWED = 0.4
"""Turns of the round trip from point to point up to which its phase is followed."""
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
    fold = _fold(swept.frequency)
    likest = _likest(swept, 0.0, fold)[0]
    if followed(swept.frequency, likest):
        return None
    for turns in range(FOLDS):
        start = _start(likest + turns * fold, velocity_factor, swept.z_ref)
        try:
            found = fit_line(start, swept)
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
    longest = 0.0 if length_m is None else length_m / SLOWEST / SPEED_OF_LIGHT
    if followed(frequency, longest):
        starts = _starts(swept, narrow)
    else:
        likest = _likest(swept, longest * SLOWEST, longest)
        starts = [(swept.z_ref, delay) for delay in likest[:STARTS]]
    for z0, delay in starts:
        try:
            found.append(fit_line(_start(delay, velocity, z0), swept))
        except CalibrationError as error:
            errors.append(error)
        if found and found[-1].fits and not narrow and followed(frequency, longest):
            return found[-1]
    if not found:
        raise errors[0]
    best, *others = sorted(found, key=lambda one: one.residual)
    if one_end and not best.fits:
        raise NotThisLineError(NO_LINE + OR_FAULT)
    if not one_end and (narrow or not best.fits) and _exchanged(best, swept):
        raise NotThisLineError(ENDS_EXCHANGED)
    least = best.expected_residual if one_end else 0.0
    rivals = _rivals(best, others, least)
    if length_m is not None:
        alike = [best, *rivals]
        metres = [(o, o.delay_s * SPEED_OF_LIGHT) for o in alike]
        usual = [o for o, m in metres if USUAL * m <= length_m < FASTEST * m]
        best, *others = usual or alike
        rivals = _rivals(best, others, least)
    if rivals:
        raise CalibrationError(_ambiguous(frequency, best, rivals[0], length_m))
    return best


def followed(frequency: Real, delay_s: float) -> bool:
    """Whether the phase of a line of a delay can be followed from point to point."""
    return bool(2 * delay_s * np.max(np.diff(frequency)) <= FOLLOWED)


def _likest(swept: FarEnds, least: float, most: float) -> list[float]:
    """Delays between two [s], those first whose round trip is like the sweeps, in even steps."""
    size = 4 * swept.frequency.size
    unit = _fold(swept.frequency) / size
    # |sum of trip exp(+j 4 pi f delay)| is largest where the round trip is exp(-j 4 pi f delay)
    alike = np.abs(np.fft.ifft(swept.round_trip(swept.z_ref), size))
    turns = np.arange(np.ceil(least / unit), np.ceil(most / unit)).astype(int)
    return (turns[np.argsort(-alike[turns % size])] * unit).tolist()


def _fold(frequency: Real) -> float:
    """Delay [s] by which a round trip turns by one turn from point to point."""
    return 1 / (2 * float(np.mean(np.diff(frequency))))


def _exchanged(best: LineProperties, swept: FarEnds) -> bool:
    """Whether a line with its ends exchanged, a quarter wave off or none, fits clearly better.

    None where much loss let the reactance inside the conductors turn for the exchange.
    """
    other_way = replace(swept, ends={-end: sweep for end, sweep in swept.ends.items()})
    speed = best.line.velocity_factor * SPEED_OF_LIGHT
    for turn in (-1, 0, 1):
        delay = best.delay_s + turn / (4 * float(np.mean(swept.frequency)))
        line = replace(best.line, length_m=max(delay, 1e-12) * speed)
        try:
            other = fit_line(line, other_way)
        except CalibrationError:
            continue  # no line that way
        if other.residual < 0.8 * best.residual:
            return True
    return False


def _starts(swept: FarEnds, narrow: bool) -> list[tuple[float, float]]:
    """Impedances [ohm] and delays [s] to start a fit from, the likeliest first.

    Seen in a reference near the line's own impedance, the phase of the round trip is straight. One
    sweep of a narrow band leaves impedance and delay to each other: then all impedances are tried.
    """
    frequency, trends = swept.frequency, []
    for z0 in swept.z_ref * np.geomspace(1 / MOST_RATIO, MOST_RATIO, 33):
        trip = swept.round_trip(z0)
        phase = np.unwrap(np.angle(trip))
        slope, offset = np.polyfit(frequency, phase, 1)
        bend = float(np.std(phase - slope * frequency - offset))
        trends.append((bend, z0, trip / np.linalg.norm(trip), phase, slope, offset))
    trends.sort(key=lambda trend: trend[0])
    _require_followed(frequency, trends[0][3])
    centre, found, every = float(np.mean(frequency)), [], narrow and len(swept.ends) == 1
    reach, step = 1 / (2 * np.ptp(frequency)), 1 / (2 * centre)
    for _, z0, trip, _, slope, offset in trends if every else trends[:STARTS]:
        # phase = -4 pi f delay, up to whole turns: right in mid-band, and nearly by its slope
        own, right = -slope / (4 * np.pi), -(slope + offset / centre) / (4 * np.pi)
        turns = np.arange(np.round((own - reach - right) / step), (own + reach - right) / step + 1)
        here = []
        for delay in right + step * turns:
            alike = float((trip @ np.exp(4j * np.pi * frequency * delay)).real)
            here.append((-alike, float(z0), max(float(delay), 0.0)))
        here.sort()
        found += here if narrow else here[:1]
    found.sort()
    return [(z0, delay) for _, z0, delay in found[: STARTS * (1 + every)]]


def _require_followed(frequency: Real, phase: Real) -> None:
    """Refuse a round trip whose phase cannot be followed."""
    step, backwards = np.max(np.abs(np.diff(phase))), phase[-1] - phase[0] > np.pi
    if step > 0.8 * np.pi or backwards:
        how = "backwards" if backwards else f"by {np.degrees(step):.0f} degrees"
        raise CalibrationError(
            f"the line's length is ambiguous, as its round trip turns {how} from point to point: "
            f"sweep in steps below {np.min(np.diff(frequency)) / 2e6:.3g} MHz"
        )


def _rivals(
    best: LineProperties, others: list[LineProperties], least: float
) -> list[LineProperties]:
    """Lines of a clearly different delay that explain the sweeps about as well, likest first."""
    other = max(0.02 * best.delay_s, 5 * best.standard_uncertainty["delay"])
    enough = RIVAL * max(best.residual, least)
    return [o for o in others if abs(o.delay_s - best.delay_s) > other and o.residual < enough]


def _ambiguous(
    frequency: Real, best: LineProperties, rival: LineProperties, length_m: float | None
) -> str:
    """That two lines explain the sweeps alike, and what to sweep."""
    pair, known = (best, rival), "at the stated velocity factor"
    lines = (f"{one.line.length_m:.3g} m of {one.line.z0:.3g} ohm" for one in pair)
    if length_m is not None:
        factors = (length_m / max(one.delay_s, 1e-12) / SPEED_OF_LIGHT for one in pair)
        lines, known = (f"a velocity factor of {v:.2g}" for v in factors), "at the stated length"
    return (
        f"a sweep from {frequency[0] / 1e6:.6g} to {frequency[-1] / 1e6:.6g} MHz leaves the "
        f"line's length ambiguous: {' and '.join(lines)} explain it alike ({known}). Sweep the far "
        "end both open and short, in smaller steps, or a wider span, "
        f"{NARROW * float(np.mean(frequency)) / 1e6:.3g} MHz or more"
    )
