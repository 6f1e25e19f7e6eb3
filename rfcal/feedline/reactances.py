"""A capacitance in series, by how all that a place answers goes over the whole band.

A wide band shows it nearly open at its foot and nearly nothing at its top: that is no slow change
of one echo, so it is fitted as a whole, with its place and what is left of the line's loss. In a
narrow band it goes as a capacitance across the line does.
"""

from collections.abc import Callable

import numpy as np

from rfcal.feedline.echo_basis import Band
from rfcal.maths.bounded import least_squares
from rfcal.maths.reflection import Complex, Real

FITS, BETTER = 0.25, 3.0
"""It is told where it leaves less than the first of these parts of an answer, and what else delays
the wave leaves the second times more (by simulation: it leaves 0.5 and more of a wide band)."""

OPEN = 0.95
"""What reflects more than this [1] in mid-band is open for this band."""

MOST = 7.0
"""Natural logarithm of how far a reactance may be from the line's impedance, either way [1]."""


def in_series(answer: Complex, band: Band, left: Real, least: float) -> tuple[bool | None, float]:
    """Whether an answer (F,) is that of a capacitance in series, and how far on that is [m].

    None where something else explains it as well.

    `left` is what may be left of the line's loss, there and back [Np], (F,), and `least` the least
    share of it.
    """
    some = slice(None, None, max(1, band.frequency.size // 100))
    frequency, weight = band.frequency[some], np.sqrt(band.weight[some])
    ratio, turn = frequency / np.average(frequency, weights=weight**2), 4 * np.pi / band.speed
    whole, share = float(np.linalg.norm(weight * answer[some])), 0.1 * (least == 0)
    most = np.array([MOST, band.resolution, 1.0])
    lowest = np.array([-MOST, -band.resolution, least])

    def misfit(way: Callable[[Complex], Complex], start: float) -> tuple[float, Real]:
        """What a reactance leaves of the answer [1], and ln q in mid-band, its place and loss."""

        def off(unknown: Real) -> Real:
            log_q, place, share = unknown.tolist()
            # a place off by s turns the phase by 4 pi f s / v
            turned = np.exp(-1j * turn * frequency * place - share * left[some])
            seen = way(1j * np.exp(log_q) * ratio) * turned
            rest = weight * (seen - answer[some]) / whole
            return np.concatenate([rest.real, rest.imag])

        found, rest, _ = least_squares(off, np.array([np.log(start), 0.0, share]), lowest, most)
        return float(np.linalg.norm(rest)), found

    size = np.average(np.abs(answer), weights=band.weight).clip(0.01, 0.99)
    start = float(np.sqrt(1 / size**2 - 1))
    # f in parts of mid-band: r = 1 / (1 + j q f), q = 4 pi C z0, of a capacitance in series;
    # -j q f / (1 + j q f), q = C pi z0, of one across; j q f / (1 + j q f), q = L pi / z0, of an
    # inductance in series
    series, (log_q, place, _) = misfit(lambda x: 1 / (1 + x), start)
    if not series < FITS:
        return False, 0.0
    across, _ = misfit(lambda x: -x / (1 + x), 1 / start)
    other, _ = misfit(lambda x: x / (1 + x), 1 / start)
    sure = BETTER * series < min(across, other) and log_q > np.log(1 / OPEN**2 - 1) / 2
    return (True, float(place)) if sure else (None, 0.0)
