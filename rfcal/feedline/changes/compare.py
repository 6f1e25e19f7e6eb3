"""Two sweeps of one line compared: what reflects otherwise than it did, and where.

Places of the earlier sweep are first moved to where they are in the later one, as cables grow
longer in the sun; then the difference of the two is taken as a sum of echoes, and these are laid
to places.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.behind import SAYS, seen_through
from rfcal.feedline.changes.comparison import END_ALIKE, TRIFLE, Change, Comparison, closed
from rfcal.feedline.changes.loss import Lost, beside_end, by_weather, grown
from rfcal.feedline.changes.shift import SIGNIFICANT, Shift, by_length, find_shift
from rfcal.feedline.faults.basis import prepare
from rfcal.feedline.faults.echoes import DIM, EXCESS, Echoes, bounces, find_echoes, folded
from rfcal.feedline.faults.end import EARLY, OPEN_OR_SHORT, RINGING
from rfcal.feedline.faults.events import Events, in_line
from rfcal.feedline.faults.kinds import LOSSIEST, RESISTIVE, SLOWING, STRETCHES, UNCLEAR, UNKNOWN
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import NEPER_PER_DB, Line
from rfcal.uncertainty.quantity import Quantity, combine

AT_ONE = 0.04, 0.06
"""What differs by more at one frequency alone [1] is the end's, as of a corroded feed point;
weather does less to an antenna, the second where its ringing folds back (by simulation)."""

WINDOW_EDGE = 0.05
"""Part of the window's height below which nothing is taken as the largest difference [1]."""

LEAST_NEW = 0.01
"""The same where nothing was seen before."""

CLUSTER = 3.0
"""Within this many resolutions a weaker echo of the difference is part of a stronger one."""

LEAST_END = 0.3
"""What reflected most is an end if it was so much [1], and no joint."""

TRIED = 101
"""Growths of all the line that are tried against the phases: of 100 m at 150 MHz less than a
tenth of a radian apart."""

MOST_CHANGE = 2.0
"""What is reflected changes by no more [1]: from all of it to all of it turned round."""


@dataclass(frozen=True, eq=False)
class _Sweeps:
    """Two sweeps of one line, and what was found in them."""

    then: Echoes
    now: Echoes
    after: Complex  # the later one in the line's impedance [1]
    shared: Complex  # its common changes, and those of the earlier one (N, F)
    baseline: Events
    events: Events
    end_then_m: float | None  # where the line ended, if known
    end_m: float  # and ends
    at_one: float  # what at one frequency is a change of that end [1]
    piece_m: float = 0.0  # how long a piece was put in or taken out


def compare(
    frequency: Real,
    now: Quantity,
    then: Quantity,
    line: Line,
    *,
    events: Events,
    baseline: Events,
    loss_known: bool = True,
    z_ref: float = defaults.REFERENCE_OHM,
    end_m: float = np.nan,
    end_then_m: float | None = None,
) -> Comparison:
    """What differs between two sweeps at the foot of one line, with what was found in each.

    The line's end, where it is known, is a place of its own, and what seems to reflect from beyond
    is laid to it; not a number where it is to be guessed.
    """
    band = prepare(frequency, now.value, line, loss_known)
    either = combine(now.value - then.value, (now, 1.0), (then, -1.0))
    after, shared = in_line(frequency, now.value, line, loss_known, z_ref, either.common_changes())
    # the events of a line that is known to have grown lossier are of other echoes
    found, at_one = (baseline.echoes, find_echoes(band, after)), AT_ONE[band.tail > 0]
    sweeps = _Sweeps(*found, after, shared, baseline, events, end_then_m, end_m, at_one)
    return _through(sweeps, _compared(sweeps, line))


def _compared(sweeps: _Sweeps, line: Line) -> Comparison:
    """What differs, loss that has grown made good where that explains it."""
    given = sweeps.then, sweeps.now, sweeps.end_then_m
    lost, at_one = grown(*given), np.inf  # that law is no closer
    if lost is None:
        plain = _differ(sweeps, None)
        faults = any(c.closed or c.what != "changed" for c in plain.changes)
        moved = plain.shift is not None and plain.shift.all_along
        one = bool(plain.changes) and not faults
        weather = by_weather(*given, line, moved=moved) if one else None
        mild = plain if weather is None else _differ(sweeps, weather)
        if weather is not None and not mild.changes:
            return replace(mild, lost=None, weather=weather) if weather.mild else mild
        lost, hidden = beside_end(*given) if one else (None, False)
        if lost is None:
            return replace(plain, hidden=hidden)
        at_one = sweeps.at_one
    # loss in the conductors delays the wave, that of joints and braids hardly does
    whole = replace(sweeps, at_one=at_one)
    ways = [_differ(whole, replace(lost, inside=share)) for share in (1.0, 0.0)]
    best = min(ways, key=lambda one: sum(change.size for change in one.changes))
    # that keeps part of the wave from the end as well
    return _differ(sweeps, None) if any(c.grown for c in best.changes) else best


def _through(sweeps: _Sweeps, found: Comparison) -> Comparison:
    """The same with what the one new place of it explains of what changed beyond.

    That is asked of the earlier sweep as it was, too: what seems moved may only be seen through it.
    """
    new, baseline = [c for c in found.changes if c.grown and not c.closed], sweeps.baseline
    size = baseline.size
    if not (new and size.size):
        return found
    end_m = sweeps.end_then_m or float(baseline.distance_m[np.argmax(size)])
    place = max(new, key=lambda c: c.size * (c.distance_m < end_m))
    if any(c.closed and c.distance_m < place.distance_m for c in found.changes):
        return found
    whole, (moved, after) = sweeps.then.whole(), found.came
    given = after, place.distance_m, end_m, abs(place.after)
    how = seen_through(sweeps.then, sweeps.now, whole, *given)
    if how == "all" and found.shift is not None and place.kind in RESISTIVE:  # that slows nothing
        found = _once_moved(sweeps, None, whole, found.lost) if found.shift.between_m else found
    elif how != "all" and found.shift is not None:
        how = min(how, seen_through(sweeps.then, sweeps.now, moved, *given), key=SAYS.index)
    if how in ("all", "not seen"):  # what reflects nearly all behind it did so before, or may have
        changes = tuple(c if c.what == "new" else replace(c, closed=False) for c in found.changes)
        found = replace(found, changes=changes)
    return replace(found, through=how if how == "all" or len(new) == 1 else "not known")


def _differ(sweeps: _Sweeps, lost: Lost | None) -> Comparison:
    """What differs once it is made good that the line has grown, and loses more.

    Where places do not tell of a growth, phases do if it explains all that differs.
    """
    found = _once_moved(sweeps, *_moved(sweeps, lost, by_phase=False), lost)
    if found.shift is not None or not found.changes:
        return found
    warm = _once_moved(sweeps, *_moved(sweeps, lost, by_phase=True), lost)
    return found if warm.changes else warm


def _once_moved(
    sweeps: _Sweeps, shift: Shift | None, before: Complex, lost: Lost | None
) -> Comparison:
    """What differs from the earlier sweep, moved."""
    band, baseline = sweeps.now.band, sweeps.baseline
    if shift is not None:
        moved = shift.size * shift.form(baseline.distance_m)
        baseline = replace(baseline, distance_m=np.maximum(baseline.distance_m + moved, 0))
    piece_m = 0.0 if shift is None or shift.between_m is None else abs(shift.size)
    sweeps = replace(sweeps, baseline=baseline, end_m=_end(sweeps, baseline), piece_m=piece_m)
    difference = sweeps.after - before
    # what is moved is hardly known at the edges
    worst = int(np.argmax(np.abs(difference) * (band.weight > WINDOW_EDGE * np.max(band.weight))))
    changes = _laid_to_places(sweeps, before)
    told = np.isfinite(sweeps.end_m) and not piece_m  # what goes round moves otherwise
    if told and not changes and np.abs(difference[worst]) > sweeps.at_one:
        rms = np.sqrt(np.average(np.abs(difference) ** 2, weights=band.weight))
        changes = (_change(sweeps, before, sweeps.end_m, float(rms)),)
    return Comparison(
        changes,
        _from_new(shift, changes, band.near),
        lost,
        float(np.abs(difference[worst])),
        float(band.frequency[worst]),
        (before, sweeps.after),
        bool(changes) and by_length(band, before, sweeps.after, LEAST_NEW),
    )


def _end(sweeps: _Sweeps, baseline: Events) -> float:
    """Where the line ends [m]: if that is not known, what reflected most and is no joint.

    What seems to reflect from beyond rings behind it, or bounces.
    """
    if not np.isnan(sweeps.end_m):
        return sweeps.end_m
    if not (baseline.kind and sweeps.events.kind):
        return np.inf
    (was, size), (now, _) = (
        (int(np.argmax(e.size)), float(np.max(e.size))) for e in (baseline, sweeps.events)
    )
    if size < LEAST_END or baseline.kind[was] in RESISTIVE:
        return np.inf
    return float(max(baseline.distance_m[was], sweeps.events.distance_m[now]))


def _moved(sweeps: _Sweeps, lost: Lost | None, *, by_phase: bool) -> tuple[Shift | None, Complex]:
    """How the line's places have moved, and the earlier sweep with its echoes moved and faded.

    By the phases alone no more than weather moves them.
    """
    then, band, after = sweeps.then, sweeps.then.band, sweeps.after
    each, before = then.parts(), then.whole()
    if lost is not None:  # what rings behind the end has gone through no more of the line
        way = np.minimum(then.distance, lost.length_m)
        faded = each * np.exp(-2 * way[:, None] * lost.growth(band.frequency))
        before = np.sum(faded, axis=0) + then.left
        then = find_echoes(band, before)
        each = then.parts()
    shift: Shift | None = Shift(uncertainty=defaults.NO_WEATHER_STRETCH / SIGNIFICANT, sure=False)
    if not by_phase:
        shift = find_shift(then, sweeps.now, np.array([sweeps.end_then_m, sweeps.end_m], float))
    if shift is None or not then.distance.size:
        return None, before
    # what no echo explains comes from where the strongest does, most likely
    each[np.argmax(then.at_foot())] += then.left
    turn = -2j * shift.form(then.distance)[:, None] * band.propagation.imag
    size = shift.size
    if by_phase:
        sizes = np.linspace(-defaults.NO_WEATHER_STRETCH, defaults.NO_WEATHER_STRETCH, TRIED)
        off = [np.sum(each * np.exp(turn * one), axis=0) - after for one in sizes]
        size = float(sizes[np.argmin(np.abs(off) ** 2 @ band.weight)])
    for _ in range(3):  # phases know the size better than places do
        turned = each * np.exp(turn * size)
        # one step of weighted least squares in the size alone
        slope, left = np.sum(turn * turned, axis=0), after - np.sum(turned, axis=0)
        weighed = band.weight * slope.conj()
        information = float(np.sum(weighed * slope).real)
        size += float(np.sum(weighed * left).real) / information
    if abs(size - shift.size) > SIGNIFICANT * shift.uncertainty:
        size = shift.size
    moved = _through_piece(shift, size, then, each * np.exp(turn * size), after)
    spread = np.sqrt(np.sum(np.abs(weighed * (after - moved)) ** 2) / 2) / information
    uncertainty = max(min(float(spread), shift.uncertainty), shift.least)
    found = replace(shift, size=size, uncertainty=uncertainty)
    if not found.significant:
        return None, before
    return (found if found.told else None), moved


def _through_piece(
    shift: Shift, size: float, then: Echoes, turned: Complex, after: Complex
) -> Complex:
    """The echoes' sum, those behind a piece put in or taken out with what its own loss changes."""
    moved, band = np.sum(turned, axis=0), then.band
    if shift.between_m is None:
        return np.asarray(moved)
    law = -2 * shift.form(then.distance)[:, None] * np.sqrt(band.frequency / 1e6)
    slope, most = np.sum(law * turned, axis=0), LOSSIEST * NEPER_PER_DB / 100 * size
    fits = np.sum(band.weight * slope.conj() * (after - moved)).real
    loss = np.clip(fits / np.sum(band.weight * np.abs(slope) ** 2), min(0, most), max(0, most))
    return np.asarray(np.sum(turned * np.exp(law * loss), axis=0))


def _from_new(shift: Shift | None, changes: tuple[Change, ...], apart_m: float) -> Shift | None:
    """The shift with the new place that it likely begins at, and the nearest, if it may as well."""
    if shift is None or (shift.between_m is None and shift.sure):
        return shift
    near, far = shift.between_m or (0.0, np.inf)
    # what has more impedance does not slow the wave
    # what is shorter may have dried
    came = ("new",) if shift.size > 0 else ("new", "gone")
    new = [c for c in changes if c.what in came and near < c.distance_m < far]
    new = [c for c in new if not (c.kind in RESISTIVE and c.more.real * shift.size > 0)]
    if not new:
        return shift
    first, nearest = _slowing(new, shift.size, apart_m), new[0].distance_m
    return replace(shift, from_m=first.distance_m, or_m=None if first is new[0] else nearest)


def _slowing(new: list[Change], size: float, near: float) -> Change:
    """Which new place most likely slows the wave: one alone does, or a slower stretch begins there.

    That has less impedance, or its two ends, which differ in sign, are told as such.
    """
    kinds = [{(kind, c.more.real > 0) for kind in STRETCHES & {c.kind, *c.fits}} for c in new]
    ends = [any((k, not s) in then for k, s in here) for here, then in pairwise([*kinds, set()])]
    told = [bool(c.fits) or c.kind not in UNCLEAR for c in new]
    less = [t and c.more.real * size < 0 for t, c in zip(told, new, strict=True)]
    each = zip(new, ends, less, [*less[1:], False], strict=True)
    starts = (c for c, two, here, no in each if c.kind in SLOWING or two or (here and not no))
    likely = next(starts, new[0])
    # of a piece put in, the far end lies as far behind the near one as places moved
    piece = abs(likely.distance_m - new[0].distance_m - size) < near
    return new[0] if piece else likely


def _laid_to_places(sweeps: _Sweeps, before: Complex) -> tuple[Change, ...]:
    """Changes at places, from the echoes of the difference to what was before, moved."""
    found, band = (
        find_echoes(sweeps.now.band, sweeps.after - before),
        sweeps.now.band,
    )
    _, of_size = found.uncertainty()
    of_common = np.linalg.norm(found.moved_by(sweeps.shared), axis=0) / np.sqrt(2)
    uncertainty = np.hypot(of_size, of_common)
    size = np.linalg.norm(found.coefficients, axis=1)
    # far behind the end the loss that is made good turns noise into more than all there is
    could = size <= MOST_CHANGE
    place = np.full(could.size, np.nan)
    place[could] = _places(sweeps, found.distance[could], size[could])
    changes: list[Change] = []
    for where in np.unique(place[np.isfinite(place)]):
        here = place == where
        whole, doubt = (float(np.linalg.norm(of[here])) for of in (size, uncertainty))
        change = _change(sweeps, before, float(where), whole)
        least = LEAST_NEW if change.what == "new" and abs(change.after) > LEAST_NEW else TRIFLE
        # echoes of one place may undo each other
        both = found.model(here) * np.exp(2 * where * band.propagation.real)
        if whole > max(least, SIGNIFICANT * doubt) and np.max(np.abs(both)) > least:
            if any(nearer.closed for nearer in changes):  # nothing comes back from there
                change = replace(change, what="gone", after=0j, closed=False)
            changes += [change] * (change.what != "gone" or change.before != 0)
    return tuple(changes)


def _places(sweeps: _Sweeps, distance: Real, size: Real) -> Real:
    """To what place each echo of the difference belongs; nan for a bounce.

    To an event beside it; else to a stronger one just before or behind it, as one change splits
    into several echoes; else, behind all events, to the last of them, which rings. What is left
    is a place of its own.
    """
    near, span = sweeps.now.band.near, sweeps.now.band.range
    baseline, events = sweeps.baseline, sweeps.events
    off = np.abs(baseline.distance_m[:, None] - events.distance_m)
    # what reflected less makes no change by going
    gone = np.all(off >= near, axis=1) & (baseline.size > TRIFLE / 2)
    events_m = np.concatenate([events.distance_m, baseline.distance_m[gone]])
    sizes = np.abs(np.concatenate([events.reflection, baseline.reflection[gone]]))
    way, bounce_m = bounces(events_m)
    # each of the three carries what the first has let through, there and back; the bounce once
    bounce = 2 * EXCESS * np.prod(sizes[way], axis=0) / np.maximum(1 - sizes[way[0]], DIM) ** 2
    rings = np.r_[np.isin(events.kind, (RINGING, EARLY)), np.zeros(np.sum(gone), bool)]
    events_m = events_m[(events_m <= sweeps.end_m) & ~rings]
    if np.isfinite(sweeps.end_m) and not np.any(np.abs(events_m - sweeps.end_m) < near):
        events_m = np.append(events_m, sweeps.end_m)
    place = np.full(size.size, np.nan)
    for k in np.argsort(-size):
        d = max(float(distance[k]), 0.0)
        beside = np.abs(events_m - d)
        stronger = np.where(np.isfinite(place), np.abs(distance - d), np.inf)
        if beside.size and beside.min() < near:
            place[k] = events_m[np.argmin(beside)]
        elif stronger.min() < CLUSTER * sweeps.now.band.resolution:
            place[k] = place[np.argmin(stronger)]
        elif np.any(bounce[np.abs(folded(bounce_m - d, span)) < near + sweeps.piece_m] > size[k]):
            continue  # it has grown, or moved with both of its ends
        else:
            place[k] = d if not events_m.size or d < events_m.max() else events_m.max()
    return place


def _change(sweeps: _Sweeps, before: Complex, where: float, size: float) -> Change:
    """The change at a place, by the nearest event of baseline and sweep if it is near enough.

    Where the lists, which hold the strongest, have neither, the traces say how large they are.
    """
    band, value, kind, at = sweeps.now.band, [], [], []
    fits: list[tuple[str, ...]] = [()]
    for events in (sweeps.baseline, sweeps.events):
        here = events.nearest(where, band.near)
        at += [] if here is None else [here]
        value.append(0j if here is None else complex(events.reflection[here]))
        kind.append("" if here is None else events.kind[here])
        fits += [] if here is None else [events.fits[here]]
    if not any(kind):
        near, fade = np.argmin(np.abs(band.grid - where)), float(band.fade(np.array([where]))[0])
        value = [complex(band.trace(sweep)[near]) / fade for sweep in (before, sweeps.after)]
        grown = abs(value[1]) / max(abs(value[0]), 1e-12)
        kind = ["unknown" if grown < 2 else "", "unknown" if grown > 0.5 else ""]
    what = "changed" if all(kind) else "new" if kind[1] else "gone"
    told, total = kind[1] or kind[0], closed(abs(value[0]), kind[0], abs(value[1]), kind[1])
    # what goes over the band as it did is the same end, seen through a fault; none has a resonance
    here = sweeps.events.nearest(where, band.near) if total else None
    total &= here is None or sweeps.events.dip(here) is None
    total &= len(at) < 2 or sweeps.events.alike(at[1], sweeps.baseline, at[0]) < END_ALIKE
    told = UNKNOWN if told in (RINGING, EARLY) else told
    if total and told in UNCLEAR:
        told, fits = UNKNOWN, [OPEN_OR_SHORT]
    return Change(where, what, value[0], value[1], size, told, fits[-1], total)
