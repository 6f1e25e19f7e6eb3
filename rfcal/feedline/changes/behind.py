"""What lies behind one changed place of a line: whether it is as it was, seen through that place.

A part in series adds to the impedance that is seen at its place, one across the line to the
admittance. So what an end that has not changed looks like behind it follows from the earlier sweep
exactly, with all that bounces between the two.
"""

from itertools import product

import numpy as np

from rfcal.feedline.faults.basis import Band
from rfcal.feedline.faults.echoes import Echoes
from rfcal.maths.bounded import least_squares
from rfcal.maths.reflection import Complex, Real

AS_IT_WAS, OTHER = 0.03, 0.055
"""What is behind is as it was where it is left off by less than the first of these parts of what
comes back from there, perhaps below the second, and is another above that: 1 % of an antenna's
frequency makes 0.02 to 0.06, 3 % 0.06 to 0.16 (by simulation)."""

TELLS = 0.1
"""What comes back from behind [1] must be so much for that to be judged (by simulation)."""

STRETCH, LOSS = 0.005, 0.15
"""Weather makes what lies behind longer, and lossier, by no more than these parts of it."""

KNOWN, GUESSED = 0.3, 1.0
"""The loss up to a place is off by this part of it at most: of one type's, and of a guess."""

SAYS = "all", "perhaps", "not known", "not seen", "more"
"""What is said of it."""

FORMS = tuple(product((1.0, -1.0), (1.0, -1.0)))
"""In series or across the line; resistance and reactance in a row, or as admittances beside each
other (in series; the other way round across the line)."""


def seen_through(
    then: Echoes, now: Echoes, before: Complex, after: Complex, at_m: float, end_m: float, r: float
) -> str:
    """Whether what lies behind a place that now reflects r is as it was: all that changed, perhaps.

    Or "more" has changed, or that is "not known", or "not seen" well enough to be judged. Of two
    sweeps [1] with what was found in them.
    """
    comes, left, beyond = _left(then, now, before, after, at_m, end_m, r)
    if left < AS_IT_WAS * comes:
        return "all"
    if comes < TELLS:
        return "not seen"
    if left < OTHER * comes:
        return "perhaps"
    return "more" if beyond else "not known"


def _left(
    then: Echoes, now: Echoes, before: Complex, after: Complex, at_m: float, end_m: float, r: float
) -> tuple[float, float, bool]:
    """What comes back from behind if that is as it was, how far off that is [1, root mean square].

    And whether that comes from behind as well.
    """
    band = now.band
    weight = np.sqrt(band.weight / band.weight.sum())
    # what lies nearer is in both, and what it keeps back is that of both
    earlier, later = (
        sweep - echoes.model(echoes.distance < at_m - band.near)
        for sweep, echoes in ((before, then), (after, now))
    )
    place, best, left = (at_m, max(end_m - at_m, 0.0)), np.inf, later
    known = KNOWN if np.any(band.propagation.real) else GUESSED
    for form in FORMS:
        part = max(2 * r / (1 - min(r, 0.95)), 1e-3) ** form[1]
        start = np.array([part, part / 10, 0, 0, 0, 0])
        most = np.array([1e3, 1e3, 0.5, known, STRETCH, LOSS])
        low = np.array([1e-6, 0.0, *-most[2:]])

        def misfit(values: Real, form: tuple[float, float] = form) -> Real:
            off = (_behind(band, earlier, values, form, place) - later) * weight
            return np.concatenate([off.real, off.imag], axis=-1)

        values, rest, _ = least_squares(misfit, start, low, most)
        if (size := float(np.linalg.norm(rest))) < best:
            best, left = size, _behind(band, earlier, values, form, place) - later
            came = later + left - _behind(band, 0 * earlier, values, form, place)
    beyond = band.grid[np.argmax(np.abs(band.trace(left)))] > at_m + band.near
    return float(np.linalg.norm(came * weight)), best, bool(beyond)


def _behind(
    band: Band,
    before: Complex,
    values: Real,
    form: tuple[float, float],
    place: tuple[float, float],
) -> Complex:
    """The sweep (..., F) with a part at a place [m], and so much [m] of line behind it.

    `values` (..., 6): resistance and reactance of the part in mid-band [1, of the line's impedance,
    or conductance and susceptance], how far off its place is, in resolutions, by what part the
    loss up to there is, and by what parts the line behind has become longer and lossier.
    """
    (sign, power), (at_m, way_m) = form, place
    resistance, reactance, off, known, longer, lossier = np.moveaxis(values, -1, 0)[..., None]
    loss, turn, way = band.attenuation, 1j * band.propagation.imag, at_m + off * band.resolution
    back = np.exp(2 * way * (turn + (1 + known) * loss))
    grown = 2 * way_m * (longer * turn + lossier * loss)
    seen = sign * before * back * np.exp(-grown)
    part = (resistance + 1j * reactance * band.frequency / band.middle) ** power
    # Z' = Z + part: what is across the line does the same to minus the reflection
    half = part * (1 - seen) / 2
    return np.asarray(sign * (seen + half) / (1 + half) / back)
