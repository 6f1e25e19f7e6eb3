"""How the places of a line have moved between two sweeps: with warmth, or from one place on.

Echoes that look alike in both sweeps are paired, and the ways they have moved tell which it is: in
proportion to distance where the whole line grew, and by one amount from some place on where a
piece was put in or got wet. What itself changed is no witness of where it is.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal import defaults
from rfcal.feedline.faults.basis import Band
from rfcal.feedline.faults.echoes import TOTAL, Echoes, placed
from rfcal.maths.reflection import Complex, Real

SIGNIFICANT = 4.0
"""A move is one when it is this many times its standard uncertainty."""

WEATHER = 1e-3
"""Beside a piece put in or taken out it stretches a line by this (standard, by simulation) [1]."""

REACH_M = 3.0
"""Echoes further from each other than this, and than the resolution, are not one that moved [m]."""

PIECES = np.linspace(-REACH_M, REACH_M, 601)
"""Lengths [m] that a line is asked to have been cut by, or made longer."""

SHAPE_OFF, TIMES = 0.1, 2.5
"""Echoes are alike where their shapes over the band differ by less than the first of these parts
and their sizes by less than this many times."""

MOST = 0.9
"""No place on the way is taken to reflect more than this [1]."""

PLACES_OFF = 9.0
"""A way of moving is one where it explains the places to this, in squared standard uncertainties
for each place that is more than it needs."""

CHANGED, OF_END = 0.15, 0.3
"""An echo that turned or changed its size by more than the first of these parts seems moved by that
itself: by the second, in resolutions (standard)."""

BETTER = 4.0
"""All of the line has grown for certain where no move from one place on explains the places as well
by so many squared standard uncertainties."""


@dataclass(frozen=True)
class Shift:
    """How places have moved: in proportion to distance, or all from one on by one amount."""

    # by how much of itself the delay to every place has grown [1]; or by how much places moved [m]
    size: float = 0.0
    uncertainty: float = 0.0  # standard, in the same unit
    # between which places the second kind begins [m], the first 0 where all moved; None for the
    # first kind
    between_m: tuple[float, float] | None = None
    sure: bool = True  # whether the other kind explains the places worse
    # a new place from which on they may have moved [m, as the line is now], where that is not sure
    # otherwise
    from_m: float | None = None
    or_m: float | None = None  # a nearer new place, where it may be that one as well
    least: float = 0.0  # the part of `uncertainty` that is of echoes which changed themselves

    @property
    def significant(self) -> bool:
        """Whether anything has moved for certain."""
        return abs(self.size) > SIGNIFICANT * self.uncertainty

    @property
    def all_along(self) -> bool:
        """Whether it is of the first kind, as far as can be told."""
        return self.between_m is None and self.from_m is None

    @property
    def told(self) -> bool:
        """Whether it is more than a kelvin does."""
        return self.between_m is not None or abs(self.size) > defaults.STRETCH_PER_K

    def form(self, distance: Real) -> Real:
        """How far places move outward for a size of 1 [m, or 1]."""
        if self.between_m is None:
            return distance
        return (distance > sum(self.between_m) / 2).astype(float)


def find_shift(then: Echoes, now: Echoes, ends_m: Real) -> Shift | None:
    """How places moved from one sweep of a line to another, by the places themselves.

    A stretch, be it insignificant, where it explains them and no move from one place on does
    better; else a significant one of those, or None. The line's end in both sweeps, where known, is
    a witness by itself once it has moved by more than what it ends in can make it seem.
    """
    if not (then.distance.size and now.distance.size):
        return None
    (pairs, changed), near = _pairs(then, now), then.band.near
    place, later = then.distance[pairs[:, 0]], now.distance[pairs[:, 1]]
    uncertainty = np.hypot(*(_known(e)[pairs[:, i]] for i, e in enumerate((then, now))))
    last = ends_m[0] if np.isfinite(ends_m[0]) else then.distance[np.argmax(then.at_foot())]
    # what rings behind the end is no witness
    witness = np.isfinite(uncertainty) & (place < last + near)
    of_end = OF_END * then.band.resolution
    by_change = of_end * (changed > CHANGED)
    seen = np.stack([place, later - place, uncertainty, by_change])[:, witness]
    # an end that splits into several echoes may be taken for another of them
    stays = (np.abs(place - ends_m[0]) < near) & (np.abs(later - place) < near)
    stays &= changed < CHANGED
    if abs(ends_m[1] - ends_m[0]) > near and not np.any(stays):
        end = [ends_m[0], ends_m[1] - ends_m[0], of_end, 0.0]
        before = np.minimum(seen[0], seen[0] + seen[1]) < min(ends_m) - near
        seen = np.column_stack([seen[:, before], end])
    place = seen[0]
    if not place.size:
        return None
    stretch, misfit = _fitted(Shift(), seen)
    starts = [(float(place[k - 1]) if k else 0.0, float(place[k])) for k in range(place.size)]
    step, of_step = _likeliest(starts, seen)
    whole = misfit < PLACES_OFF and abs(stretch.size) < defaults.NO_WEATHER_STRETCH
    piece = of_step < PLACES_OFF and step.significant
    if not (whole or piece):  # a piece, and weather on all of it
        seen[2] = np.hypot(seen[2], WEATHER * place)
        step, of_step = _likeliest(starts, seen)
        piece = of_step < PLACES_OFF and step.significant
    if whole and not (piece and of_step < misfit - BETTER):
        return replace(stretch, sure=misfit < of_step - BETTER)
    return replace(step, sure=not whole or of_step < misfit - BETTER) if piece else None


def _likeliest(starts: list[tuple[float, float]], seen: Real) -> tuple[Shift, float]:
    """The move from one place on that explains moves best, and what it leaves of them."""
    return min((_fitted(Shift(between_m=m), seen) for m in starts), key=lambda fit: fit[1])


def _known(echoes: Echoes) -> Real:
    """Standard uncertainties of places [m]; a bounce is none, nor what calibration leaves."""
    real, of_distance, _ = placed(echoes)
    behind_foot = echoes.distance > echoes.band.near
    return np.where(real & behind_foot, of_distance, np.inf)


def _fitted(form: Shift, seen: Real) -> tuple[Shift, float]:
    """The shift of a form that explains moves best, and what it leaves of them for each witness.

    Of each witness its place, how far it moved, and how unsure that is: as found, and as it
    changed [m].
    """
    place, moved, found, by_change = seen
    along, weight = form.form(place), 1 / (found**2 + by_change**2)
    # weighted least squares of moved = size along
    information = max(float(np.sum(weight * along**2)), 1e-300)
    size = float(np.sum(weight * along * moved)) / information
    left = float(np.sum(weight * (moved - size * along) ** 2))
    least = float(np.linalg.norm(weight * along * by_change)) / information
    return Shift(size, information**-0.5, form.between_m, least=least), left / max(
        place.size - 1, 1
    )


def _pairs(then: Echoes, now: Echoes) -> tuple[NDArray[np.intp], Real]:
    """Indices of echoes that are the same one, near to far, (n, 2), and by what parts they changed.

    Each is the other's best.
    """
    size, shape, noisy = zip(*(_normal(echoes) for echoes in (then, now)), strict=True)
    turn = np.exp(1j * (np.angle(shape[0][:, :1]) - np.angle(shape[1][None, :, 0])))
    unlike = np.linalg.norm(shape[1] * turn[..., None] - shape[0][:, None], axis=-1)
    ratio = np.log(size[1] / size[0][:, None])
    fallen = np.abs(ratio) > np.log(TIMES)
    # a new place on the way keeps a part back, by its kind
    kept = _kept(now)[:, None] - _kept(then)[..., None]
    ratio = np.abs(ratio - np.clip(ratio, kept.min(axis=0), kept.max(axis=0)))
    near = np.abs(now.distance - then.distance[:, None]) < max(REACH_M, then.band.resolution)
    alike = (unlike < SHAPE_OFF + np.hypot(noisy[0][:, None], noisy[1])) & (ratio < np.log(TIMES))
    cost = np.where(near & alike, unlike + ratio, np.inf)
    best = np.argmin(cost, axis=1)
    mutual = np.argmin(cost, axis=0)[best] == np.arange(best.size)
    told = np.isfinite(np.min(cost, axis=1)) & ~fallen[np.arange(best.size), best]
    told &= ~closes(size[0], size[1][best])
    (index,) = np.nonzero(mutual & told)
    pair = index, best[index]
    return np.stack(pair, axis=-1), np.hypot(ratio, np.angle(turn))[pair]


def closes(before: Real | float, after: Real | float) -> np.ndarray:
    """Whether what reflects so much now [1] lets nothing through, and did before, by its size."""
    return np.asarray((after > TOTAL) & (after > np.exp(CHANGED) * before))


def _kept(echoes: Echoes) -> Real:
    """Logarithms of what reaches each place and comes back, past resistances or none, (2, K)."""
    left = [np.ones(2)]
    for size in np.abs(echoes.mean):
        r = np.minimum(size / left[-1], MOST)
        left.append(left[-1] * [(1 - r[0]) ** 2, 1 - r[1] ** 2])
    return np.log(left[:-1]).T


def _normal(echoes: Echoes) -> tuple[Real, Complex, Real]:
    """Sizes, shapes of size 1 and thrice their uncertainty."""
    size = np.maximum(np.abs(echoes.mean), 1e-12)
    return size, echoes.coefficients / size[:, None], 3 * echoes.uncertainty()[1] / size


def by_length(band: Band, before: Complex, after: Complex, least: float) -> bool:
    """Whether a piece of line alone makes one sweep of the other [1], but for the least."""
    some = slice(None, None, max(1, band.frequency.size // 100))
    way = np.exp(-2 * PIECES[:, None] * band.propagation[some])
    off = np.abs(before[some] * way - after[some]) ** 2 @ band.weight[some]
    return bool(np.any(off < least**2 * np.sum(band.weight[some])))
