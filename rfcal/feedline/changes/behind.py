"""What lies behind one changed place of a line: as it was or not, and what it tells of that place.

A part in series adds to the impedance that is seen at its place, one across the line to the
admittance. So what an end that has not changed looks like behind it follows from the earlier sweep
exactly, with all that bounces between the two.
"""

from dataclasses import replace
from itertools import product

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.comparison import END_UNLIKE, GROWN
from rfcal.feedline.faults.basis import Band
from rfcal.feedline.faults.echoes import Echoes
from rfcal.feedline.faults.end import OPEN_OR_SHORT
from rfcal.feedline.faults.events import Events
from rfcal.feedline.faults.kinds import JOINTS, RESISTIVE, UNCLEAR, UNKNOWN, Z_STEP
from rfcal.maths.bounded import least_squares
from rfcal.maths.reflection import Complex, Real, from_impedance, renormalise, to_impedance

AS_IT_WAS, OTHER = 0.03, 0.055
"""What is behind is as it was where it is left off by less than the first of these parts of what
comes back from there, perhaps below the second, and is another above that: 1 % of an antenna's
frequency makes 0.02 to 0.06, 3 % 0.06 to 0.16 (by simulation)."""

TELLS = 0.1
"""What comes back from behind [1] must be so much for that to be judged (by simulation)."""

KNOWN, GUESSED = 0.3, 1.0
"""The loss up to a place is off by this part of it at most: of one type's, and of a guess."""

SAYS = "all", "perhaps", "not known", "not seen", "more"
"""What is said of it."""

FORMS = tuple(product((1.0, -1.0), (1.0, -1.0)))
"""In series or across the line; resistance and reactance in a row, or as admittances beside each
other (in series; the other way round across the line)."""


MUCH = 0.05
"""What passes a place tells its kind where that and what lies behind it reflect so much [1]."""

PASSES, TAKES, MOST = 0.5, 0.75, 4.0
"""A place is no resistance if what passed it lost less than the first of these parts of what a
resistance as large takes up, and is one between the second and the third (by simulation)."""

START, AROUND, LESS = 0.2, 2.0, 0.5
"""What is nearer than the first of these resolutions is at the start; its second round is looked at
within the second of them, and tells where one leaves less than the third part of the other."""


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
        weather = defaults.NO_WEATHER_STRETCH, defaults.NO_WEATHER_LOSS
        most = np.array([1e3, 1e3, 0.5, known, *weather])
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


def told_by_passing(events: Events, baseline: Events) -> Events:
    """The same, with the nearest new place told by what passes it, where a single kind is sure."""
    near, size = events.band.near, events.size
    behind = baseline.size
    was = [baseline.nearest(d, near) for d in events.distance_m.tolist()]
    before = np.array([0.0 if k is None else behind[k] for k in was])
    new = np.flatnonzero((size > GROWN * before) & (size > MUCH) & (size < 1))
    behind = np.where(
        baseline.distance_m > np.min(events.distance_m[new], initial=np.inf) + near, behind, 0
    )
    if not np.any(behind > MUCH):
        return events
    far = int(np.argmax(behind))
    now = events.nearest(baseline.distance_m[far], near)
    if now is None or np.any(new[1:] < now):
        return events
    itself = events.alike(now, baseline, far) < END_UNLIKE  # what lies behind has changed
    if itself and events.kind[now] in OPEN_OR_SHORT and baseline.kind[far] not in OPEN_OR_SHORT:
        return events  # that came off or is shorted
    m, r = new[0], size[new[0]]
    # a resistance passes (1 - r)^2 there and back, what loses nothing 1 - r^2
    share = np.log(size[now] / behind[far] / (1 - r**2)) / np.log((1 - r) / (1 + r))
    if not (abs(share) < PASSES or TAKES < share < MOST):
        return events
    kinds, fits = list(events.kind), list(events.fits)
    could = fits[m] if kinds[m] in UNCLEAR else (kinds[m], Z_STEP) if kinds[m] in RESISTIVE else ()
    open_still = itself and share < PASSES and kinds[m] in RESISTIVE
    told = [k for k in could if k not in JOINTS and (k in RESISTIVE) == (share > PASSES)]
    could = could if open_still else tuple(told)
    if could:
        kinds[m], fits[m] = could[0] if len(could) == 1 else UNKNOWN, could
        # what was judged by another kind before it
        kinds[now] = kinds[now] if share > PASSES else baseline.kind[far]
    return replace(events, kind=tuple(kinds), fits=tuple(fits))


def told_at_start(seen: Complex, z_ref: float, events: Events) -> Events:
    """The same, with what reflects at the very start called a step of impedance where it is one.

    A wave from the line's end comes back from a step there with the other sign than from a
    resistance: taking away the wrong one of the two leaves more of its second round.
    """
    at, size = events.nearest(0.0, START * events.band.resolution), events.size
    if at is None or events.band.narrow or events.kind[at] not in RESISTIVE or size.size < at + 2:
        return events
    band, r, z0 = events.band, float(events.reflection[at].real), events.z0
    second = 2 * events.distance_m[at + 1 + int(np.argmax(size[at + 1 :]))]
    there = np.abs(band.grid - second) < AROUND * events.band.resolution
    # r = (z - z0) / (z + z0) of a step; R / (R + 2 z0) in series, and minus its dual in shunt
    step = renormalise(seen, z_ref, float(to_impedance(r, z0).real))
    beyond = to_impedance(np.sign(r) * renormalise(seen, z_ref, z0), 1.0)
    resists = from_impedance(beyond - 2 * abs(r) / (1 - abs(r)), 1.0)
    left = [np.max(np.abs(band.trace(each))[there], initial=0.0) for each in (step, resists)]
    if not left[0] < LESS * left[1]:
        return events
    kinds = list(events.kind)
    kinds[at] = Z_STEP
    return replace(events, kind=tuple(kinds))
