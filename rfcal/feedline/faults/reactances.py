"""How what one place reflects goes over the band, and a capacitance in series told by all of it.

A wide band shows that nearly open at its foot and nearly nothing at its top: no slow change of one
echo, so it is sought by the whole answer, its place and what is left of the line's loss in it. In a
narrow band it goes as a capacitance across the line does.
"""

from collections.abc import Callable

import numpy as np

from rfcal.feedline.faults.basis import Band
from rfcal.maths.reflection import Complex, Real

FITS, BETTER = 0.25, 3.0
"""A gap is told where it leaves less than the first of these parts of an answer, and what else
delays the wave leaves the second times more (by simulation: it leaves 0.5 and more of a wide
band)."""

OPEN = 0.95
"""What reflects more than this [1] in mid-band is open for this band."""

RATIOS = np.exp(np.linspace(-4.0, 4.0, 49))[:, None]
"""Reactances in mid-band that are tried, in parts of the line's impedance [1]."""
PLACES, SHARES = np.linspace(-1.0, 1.0, 61), 5
"""Places that are tried, in resolutions, and how many shares of what is left of the loss."""

Form = Callable[[Real, Real, Real], Complex]
"""How it reflects over the band, (K, F): of sizes [1] (K,), frequencies and the window (F,)."""


def level(size: Real, frequency: Real, weight: Real) -> Complex:
    """What reflects alike at all frequencies, shape (K, F)."""
    # r = R / (R + 2 z0) in series, -z0 / (2 R + z0) in shunt
    return np.ones((size.size, frequency.size), complex)


def rising(size: Real, frequency: Real, weight: Real) -> Complex:
    """An inductance in series, or what is minus a capacitance across the line."""
    # r = j q f / (1 + j q f), q = L pi / z0 in series; -r with q = C pi z0 in shunt
    x, turned = _reactance(size / np.sqrt(1 - size**2), frequency, weight)
    return np.asarray(1j * x / np.sqrt(1 + x**2) * turned)


def falling(size: Real, frequency: Real, weight: Real) -> Complex:
    """A capacitance in series."""
    # r = 1 / (1 + j q f), q = 4 pi C z0 in series
    x, turned = _reactance(np.sqrt(1 - size**2) / size, frequency, weight)
    return np.asarray(turned / np.sqrt(1 + x**2))


def joints(size: Real, ratios: Real, band: Band) -> Complex:
    """Resistances in series with so much of it as reactance in mid-band, (K, N, F).

    Of such sizes there [1]; the slope of its phase passes for distance.
    """
    # r = z / (2 + z), z = t (1 + j x): |r| = s at t^2 (1 + x^2) (1 - s^2) = 4 s^2 (1 + t)
    square, whole = size[:, None] ** 2, (1 + ratios**2) * (1 - size[:, None] ** 2)
    small = 2 * (square + np.sqrt(square**2 + square * whole)) / whole
    middle = np.average(band.frequency, weights=band.weight)
    z = small[..., None] * (1 + 1j * ratios[:, None] * band.frequency / middle)
    reflection = z / (2 + z)
    # as the search does, by what is reflected at each frequency
    weight = band.weight * np.abs(reflection)
    total = weight.sum(axis=-1, keepdims=True)
    off = band.frequency - weight @ band.frequency[:, None] / total
    slope = np.sum(off * weight * np.angle(reflection), axis=-1) / np.sum(off**2 * weight, axis=-1)
    return np.asarray(reflection * np.exp(-1j * slope[..., None] * band.frequency))


def _reactance(x: Real, frequency: Real, weight: Real) -> tuple[Real, Complex]:
    """What is x at mid-band over the band, and the turn of 1 / (1 + j x), (K, F).

    The slope of its phase passes for distance: the search has moved the echo by it.
    """
    middle = frequency @ weight / weight.sum()
    x, off = x[:, None] * frequency / middle, frequency - middle
    lag = np.arctan(x)
    slope = lag @ (off * weight) / (off**2 @ weight)
    return x, np.exp(-1j * (lag - slope[:, None] * frequency))


def in_series(answer: Complex, band: Band, left: Real, least: float) -> tuple[bool | None, float]:
    """Whether an answer (F,) is that of a capacitance in series, and how far on that is [m].

    None where something else explains it as well.

    `left` is what may be left of the line's loss, there and back [Np], (F,), and `least` the least
    share of it.
    """
    some = slice(None, None, max(1, band.frequency.size // 100))
    frequency, weight = band.frequency[some], np.sqrt(band.weight[some])
    x = 1j * RATIOS * frequency / np.average(frequency, weights=weight**2)
    fading = weight * np.exp(-np.linspace(least, 1, SHARES)[:, None] * left[some])
    # a place off by s turns the phase by 4 pi f s / v
    places = band.resolution * PLACES[:, None]
    turned = np.exp(-4j * np.pi / band.speed * frequency * places)
    size = np.linalg.norm(weight * answer[some])
    # what is left of the line's loss at each place, beside the answer: (F, SHARES PLACES)
    beside = (fading * weight * answer[some].conj())[:, None] * turned / size**2
    beside = beside.reshape(-1, frequency.size).T

    def misfit(way: Complex) -> tuple[float, float, float]:
        """What a reactance leaves of the answer [1], its ratio in mid-band, and its place [m]."""
        along = (way @ beside).real.reshape(-1, SHARES, places.size)
        rest = 1 + (np.abs(way) ** 2 @ fading.T**2 / size**2)[..., None] - 2 * along
        ratio, _, place = np.unravel_index(np.argmin(rest), rest.shape)
        left = float(np.sqrt(max(np.min(rest), 0.0)))
        return left, RATIOS.item(ratio), places.item(place)

    # f in parts of mid-band: r = 1 / (1 + j q f), q = 4 pi C z0, of a capacitance in series;
    # -+j q f / (1 + j q f), q = C pi z0 of one across, q = L pi / z0 of an inductance in series
    series, ratio, place = misfit(1 / (1 + x))
    if not series < FITS:
        return False, 0.0
    others = min(misfit(sign * x / (1 + x))[0] for sign in (-1, 1))
    sure = BETTER * series < others and ratio > np.sqrt(1 / OPEN**2 - 1)
    return (True, place) if sure else (None, 0.0)
