"""What else explains the places of a line: another cable, a piece put in, or a wet stretch."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from rfcal import defaults
from rfcal.feedline.faults.end import MOST_BACK, WHOLE, more_than_all, sooner_end
from rfcal.feedline.faults.kinds import FULL, ON_AXIS, RESISTIVE, TWIN
from rfcal.feedline.measure import FASTEST
from rfcal.models.cables import CABLES
from rfcal.record.findings.catalogue import line as say
from rfcal.record.results import LineState
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.words import plus_minus

LEAST_M = 1.0
"""The shortest line [m] that another one is taken for."""

SIMILAR = 0.1
"""One cable is taken for another if their impedances differ by less than this [1, relative]."""

SLOWED = 0.75
"""Speed on wet cable over that on dry, at least [1]: of soaked foam (value from memory)."""


def _other_types(state: LineState, last: int | None) -> tuple[list[float], float]:
    """Velocity factors of usual cables by which all fits, where by the stated one it does not.

    And their doubt [1, relative, standard]. `last` is the place that may be the end of a line whose
    end is not seen where it is stated to be; of one whose length is not stated, none gives back
    more than all.
    """
    now, band, stated = state.now, state.now.echoes.band, state.now.velocity_factor
    place, usual = 0.0 if last is None else float(now.distance_m[last]), CABLES.values()
    if place < LEAST_M or state.properties is not None or state.comparison is not None:
        return [], 0.0
    if length := state.length_m:
        off = now.distance_uncertainty_m[last] / place, state.length_uncertainty_m / length
        fits, doubt = stated * length / place, math.hypot(*off)
        any_fits = any(abs(one.velocity_factor / fits - 1) < K_AXIS * doubt for one in usual)
        return [fits] * (state.end is None and any_fits), doubt
    found, size, doubt = set(), abs(now.reflection[last]), defaults.PATH["velocity factor"]
    for line in (one.line(0.0) for one in usual if state.loss_known and more_than_all(now)):
        more = place * (line.velocity_factor / stated * line.propagation(band.frequency).real)
        more -= place * band.attenuation
        back = size * np.average(np.exp(2 * more), weights=band.weight)
        differs = abs(line.velocity_factor / stated - 1) > K_AXIS * doubt
        if differs and back < MOST_BACK and abs(line.z0 / now.z0 - 1) < SIMILAR:
            found.add(line.velocity_factor)
    return sorted(found), doubt


def by_other_types(state: LineState, distance_m: float, last: int | None) -> str:
    """Where a place is by those cables, in words; empty where there are none."""
    now, at = state.now, state.now.nearest(distance_m, state.now.near_m)
    usual, doubt = _other_types(state, last)
    if not usual or at is None or (at == last and state.length_m):
        return ""
    there = [distance_m * one / now.velocity_factor for one in usual]
    of_place = float(now.distance_uncertainty_m[at]) / max(distance_m, now.near_m)
    place = plus_minus(there[0], K_AXIS * there[0] * math.hypot(of_place, doubt))
    place = f"{there[0]:.1f} to {there[-1]:.1f}" if len(usual) > 1 else place
    fits = " to ".join(f"{one:.2f}" for one in dict.fromkeys((usual[0], usual[-1])))
    return say.LINE_IF_OTHER.format(place=place, fits=fits)


def or_end(state: LineState, strong: np.ndarray, rings: bool) -> tuple[str, str]:
    """The other explanation where no end is seen: the last place, by another type of cable.

    To be said before that place, or behind it where a break is likelier: what reflects all, and
    behind which nothing rings.
    """
    now, last, stated = state.now, np.flatnonzero(strong)[-1], state.now.velocity_factor
    place = float(now.distance_m[last])
    if state.end is not None:
        place = sooner_end(now, state.length_m, RESISTIVE)
    fits = stated * state.length_m / max(place, LEAST_M)
    if place == state.length_m or state.properties is not None or state.beyond_m is not None:
        return "", ""
    if not 0 < fits <= FASTEST:
        return _or_lossier(state, int(last)), ""
    whole = abs(now.reflection[last]) > 1 - FULL
    whole |= bool({now.kind[last], *now.fits[last][:1]} & set(WHOLE))
    other = say.LINE_OR_END.format(place=place, fits=fits, stated=stated)
    if state.end is not None or (whole and not rings):
        return "", say.LINE_OR_TYPE.format(other=other)
    return say.LINE_TYPE_FIRST.format(other=other), ""


def usual_type(state: LineState) -> str:
    """Whether a usual type of cable has the line's end where a narrow band sees it, in words."""
    now, at, length, stated = state.now, state.end, state.length_m, state.now.velocity_factor
    if at is None or not now.narrow or state.properties is not None:
        return ""
    place = float(now.distance_m[at])
    half = K_AXIS * math.hypot(now.distance_uncertainty_m[at], state.length_uncertainty_m)
    usual = {cable.velocity_factor for cable in CABLES.values()}
    off, fits = min((abs(stated * length / v - place), v) for v in usual)
    if abs(place - length) < half or off > half:
        return ""
    piece = say.LINE_OR_PIECE.format(piece=place - length) if place > length else ""
    return say.LINE_END_TYPE.format(place=place, fits=fits, stated=stated, piece=piece)


def _or_lossier(state: LineState, at: int) -> str:
    """Where a place is that reflects all if the cable is one of a usual type that loses more."""
    now, band, stated = state.now, state.now.echoes.band, state.now.velocity_factor
    kind, place, found = min(now.fits[at][:1], default=""), float(now.distance_m[at]), set()
    if kind not in WHOLE or not state.loss_known:
        return ""
    for line in (cable.line(0.0) for cable in CABLES.values()):
        there = place * line.velocity_factor / stated
        more = there * line.propagation(band.frequency).real - place * band.attenuation
        size = abs(now.reflection[at]) * np.average(np.exp(2 * more), weights=band.weight)
        if abs(size - 1) < FULL and abs(there - place) > now.near_m:
            found.add((f"{line.velocity_factor:.2f}", f"{there:.1f}"))
    if not found:
        return ""
    fits, places = (" or ".join(each) for each in zip(*sorted(found), strict=True))
    means = say.LINE_FITS[kind]
    other = say.LINE_OR_LOSSIER.format(fits=fits, stated=stated, kind=means, places=places)
    return say.LINE_TYPE_FIRST.format(other=other)


def too_short(state: LineState, beyond_m: float) -> str:
    """What explains that a line seems longer than its stated length."""
    now, length, stated = state.now, state.length_m, state.now.velocity_factor
    at = int(np.argmin(np.abs(now.distance_m - beyond_m)))
    half = K_AXIS * math.hypot(now.distance_uncertainty_m[at], state.length_uncertainty_m)
    more = beyond_m - length
    return say.LINE_BEYOND.format(
        length_m=length,
        piece=plus_minus(more, half),
        electrical=more / stated,
        fits=stated * length / beyond_m,
        stated=stated,
    )


def stretches(state: LineState, before: Sequence[int], strong: np.ndarray) -> list[str]:
    """From where to where a length of other cable goes, if places are the ends of one."""
    now, said = state.now, []
    for m, n in pairwise(before):
        one, other = ({now.kind[k], *now.fits[k]} & set(say.LINE_STRETCH) for k in (m, n))
        start, far = now.distance_m[[m, n]].tolist()
        # the far end of what loses more, as wet cable does, goes as none of its kinds over the band
        back = -now.reflection[n] / now.reflection[m]
        twins = 1 / TWIN < abs(back) < TWIN and abs(np.angle(back)) < ON_AXIS
        both = one & other or (one | other if twins else set())
        if (strong[m] or strong[n]) and (kind := min(both, default="")):
            half = K_AXIS * float(now.distance_uncertainty_m[n])
            near = max(start, start + SLOWED * (far - start) - half)
            r = now.reflection[m].real
            values = {"start": start, "near": near, "far": far, "ohm": now.z0 * (1 + r) / (1 - r)}
            said.append(say.LINE_STRETCH[kind].format(**values))
    return said
