"""Where along a line something reflects: a sweep over frequency turned into distance.

A reflection at distance d turns with frequency as ``exp(-4 pi j f d / (v c))``, so the inverse
Fourier transform of the sweep shows it as a peak at its distance (common practice in time-domain
reflectometry). The strongest peak is taken, what it explains is subtracted from the sweep, and the
rest is searched again, so that the window's side lobes are not taken for events.
"""

from dataclasses import dataclass

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import NEPER_PER_DB, SPEED_OF_LIGHT

KAISER = 6.0
"""Shape of the window: side lobes below -44 dB, the main lobe about twice as wide."""
PADDING = 16
"""Points of the trace for each point of the sweep, so that a peak's place is smooth."""
DYNAMICS = 0.02
"""Smallest peak searched for, in parts of the largest: less is what subtracting that one leaves."""
LEAST = 0.01
"""Smallest reflection that is called an event [1]."""


@dataclass(frozen=True)
class Event:
    """One place that reflects.

    Parameters
    ----------
    distance_m : float
        From the reference plane [m].
    distance_uncertainty_m : float
        Standard uncertainty from noise and neighbours [m]; that of the velocity factor is apart.
    reflection : complex
        Reflection coefficient there [1], the line's loss on the way compensated.
    kind : str
        ``"open"``, ``"short"``, ``"higher impedance"``, ``"lower impedance"`` or ``"unknown"``.
    """

    distance_m: float
    distance_uncertainty_m: float
    reflection: complex
    kind: str


@dataclass(frozen=True, eq=False)
class Events:
    """What reflects along a line.

    Parameters
    ----------
    events : tuple of Event
        Nearest first.
    resolution_m : float
        Distance below which two events look like one [m].
    range_m : float
        Distance beyond which the sweep's steps repeat [m].
    distance_m : ndarray, shape (T,)
        Places of the trace [m].
    trace : ndarray, shape (T,)
        Size of the reflection there [1], loss compensated.
    """

    events: tuple[Event, ...]
    resolution_m: float
    range_m: float
    distance_m: Real
    trace: Real


def find_events(
    frequency: Real,
    reflection: Complex,
    *,
    velocity_factor: float,
    loss_db_per_100m: Real | float = 0.0,
    noise: float = 0.0005,
    most: int = 6,
) -> Events:
    """Places along a line that reflect.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz] in equal steps.
    reflection : ndarray, shape (F,)
        Corrected reflection at the line's near end [1].
    velocity_factor : float
        Speed on the line over the speed of light [1].
    loss_db_per_100m : ndarray, shape (F,), or float
        Matched loss of the line [dB per 100 m].
    noise : float
        Standard deviation of the real and the imaginary part of one point [1].
    most : int
        Largest number of events.

    Returns
    -------
    Events
        Events above `LEAST` and above the noise, and the trace they were found in.

    Raises
    ------
    CalibrationError
        Fewer than 16 points, or steps that are not equal.
    """
    step = _require_equal_steps(frequency)
    speed = velocity_factor * SPEED_OF_LIGHT
    window = np.kaiser(frequency.size, KAISER)
    window /= window.sum()
    size = PADDING * 2 ** int(np.ceil(np.log2(frequency.size)))
    distance = np.arange(size) * speed / (2 * size * step)
    attenuation = np.asarray(loss_db_per_100m) / 100 * NEPER_PER_DB * np.ones(frequency.size)
    range_m, resolution = speed / (2 * step), speed / (2 * (frequency[-1] - frequency[0]))

    def transform(values: Complex) -> Real:
        return np.abs(np.fft.ifft(values * window, size)) * size

    first = transform(reflection)
    # five standard deviations of the transform's noise, and what a model not quite true leaves
    floor = max(5 * np.sqrt(2 * np.sum(window**2)) * noise, DYNAMICS * first.max())
    rest, height = reflection, first
    found: list[tuple[float, complex]] = []
    for _ in range(4 * most):
        at = int(np.argmax(height))
        if height[at] <= floor:
            break
        place = distance[at] + _offset(height, at) * distance[1]
        model = np.exp((-4j * np.pi * frequency / speed - 2 * attenuation) * place)
        # how much of the model is in the rest, by least squares under the window
        there = complex(np.sum(window * rest * model.conj()) / np.sum(window * np.abs(model) ** 2))
        rest = rest - there * model
        height = transform(rest)
        if abs(there) > LEAST:
            found.append((place if place < 0.98 * range_m else place - range_m, there))
    events = _merged(found, resolution, noise, frequency.size)[:most]
    events.sort(key=lambda event: event.distance_m)
    gain = np.exp(2 * attenuation.mean() * distance)
    return Events(tuple(events), resolution, range_m, distance, first * gain)


def _require_equal_steps(frequency: Real) -> float:
    if frequency.size < 16:
        raise CalibrationError(
            f"{frequency.size} points show no distances; sweep 16 or more in equal steps"
        )
    steps = np.diff(frequency)
    if np.ptp(steps) > 1e-3 * steps.mean():
        raise CalibrationError(
            f"the sweep's steps lie between {steps.min():.6g} and {steps.max():.6g} Hz; "
            "distances need equal steps"
        )
    return float(steps.mean())


def _offset(height: Real, at: int) -> float:
    """Place of a peak between points, by a parabola through the logarithms of three."""
    left, middle, right = (np.log(height[(at + k) % height.size] + 1e-300) for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    return float(0.5 * (left - right) / bend) if bend < 0 else 0.0


def _merged(
    found: list[tuple[float, complex]], resolution: float, noise: float, points: int
) -> list[Event]:
    """Events, strongest first; what lies within the resolution of a stronger one belongs to it."""
    events: list[Event] = []
    for place, size in sorted(found, key=lambda pair: -abs(pair[1])):
        if any(abs(place - other.distance_m) < 2 * resolution for other in events):
            continue
        # Cramer-Rao bound for the delay of one echo, and a twentieth of the resolution
        random = np.sqrt(6 / points) / np.pi * noise / abs(size) * resolution
        doubt = float(np.hypot(random, resolution / 20))
        events.append(Event(float(place), doubt, size, _kind(size)))
    return events


def _kind(reflection: complex) -> str:
    """What a reflection may be; one number cannot tell a shunt from a lower impedance."""
    angle = abs(np.degrees(np.angle(reflection)))
    if angle < 40:
        return "open" if abs(reflection) > 0.8 else "higher impedance"
    if angle > 140:
        return "short" if abs(reflection) > 0.8 else "lower impedance"
    return "unknown"
