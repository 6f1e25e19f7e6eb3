"""Two sweeps of one line compared: what reflects otherwise than it did, and where.

The earlier sweep is first stretched to the delay of the later one, as cables grow longer in the
sun; then the difference of the two is taken as a sum of echoes, and each is laid to the place of
the last event before it, as what rings behind a place is of that place.
"""

from dataclasses import dataclass

import numpy as np

from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import Line
from rfcal.models.quantity import Quantity, combine
from rfcal.tasks.echo_basis import Band, prepare
from rfcal.tasks.echoes import NEAREST, Echoes, search
from rfcal.tasks.faults import Events, in_line

LEAST = 0.02
"""Changes of the reflection smaller than this [1] are left out (root mean square over the band)."""

SIGNIFICANT = 4.0
"""A change, and a stretch, is one when it is this many times its standard uncertainty."""

MOST_STRETCH = 0.005
"""A line is taken to be stretched by no more than this [1]; weather does less (common practice,
no source)."""


@dataclass(frozen=True, eq=False)
class Change:
    """One difference between two sweeps of a line.

    Parameters
    ----------
    distance_m : float
        Where [m].
    what : str
        ``"new"``, ``"gone"`` or ``"changed"``.
    before, after : complex
        Mean reflection over the band in the baseline and now [1]; zero where there was none.
    size : float
        Size of the difference, phase counted, root mean square over the band [1].
    kind : str
        Kind of the event now; in the baseline for one that is gone.
    """

    distance_m: float
    what: str
    before: complex
    after: complex
    size: float
    kind: str


@dataclass(frozen=True, eq=False)
class Comparison:
    """A line against an earlier sweep of it.

    Parameters
    ----------
    changes : tuple of Change
        Near to far. Read the nearest first: a new fault keeps part of the wave from all that lies
        beyond it, so that farther events seem changed too.
    stretch : float
        By how much of itself the line's delay has grown [1]; zero where that is not significant.
    largest : float
        Largest difference of the two sweeps at one frequency, the stretch made good [1].
    largest_hz : float
        Where that is [Hz].
    """

    changes: tuple[Change, ...]
    stretch: float
    largest: float
    largest_hz: float


def compare(
    frequency: Real,
    now: Quantity,
    then: Quantity,
    line: Line,
    *,
    events: Events,
    baseline: Events,
    loss_known: bool = True,
    z_ref: float = 50.0,
    end_m: float = np.inf,
) -> Comparison:
    """What differs between two sweeps at the foot of one line.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Evenly spaced frequencies of both sweeps [Hz].
    now, then : Quantity
        Corrected reflections [1] in `z_ref`; what they have in common is no doubt of a change.
    line : Line
        The line; its length has no meaning here.
    events, baseline : Events
        What was found in each with this line.
    loss_known : bool
        As for `rfcal.tasks.faults.find_events`.
    z_ref : float
        Reference impedance of the reflections [ohm].
    end_m : float
        What reflects from beyond this distance [m] is laid to the last event before it.

    Returns
    -------
    Comparison
        With no changes where nothing differs significantly.

    Raises
    ------
    CalibrationError
        As `rfcal.tasks.faults.find_events`.
    """
    band = prepare(frequency, now.value, line, loss_known)
    either = combine(now.value - then.value, (now, 1.0), (then, -1.0))
    after, shared = in_line(frequency, now.value, line, loss_known, z_ref, either.common_changes())
    before, _ = in_line(frequency, then.value, line, loss_known, z_ref, None)
    stretch, before = _stretched(band, before, after)
    difference = after - before
    found = search(band, difference, 54.0, 12)
    worst = int(np.argmax(np.abs(difference)))
    changes = _laid_to_places(found, shared, events, baseline, end_m)
    return Comparison(
        changes, stretch, float(np.abs(difference[worst])), float(band.frequency[worst])
    )


def _stretched(band: Band, before: Complex, after: Complex) -> tuple[float, Complex]:
    """The stretch that brings the earlier sweep nearest to the later one, and the sweep so."""
    echoes = search(band, before, 54.0, 12)
    if not echoes.distance.size:
        return 0.0, before
    each = np.array([echoes.model(echoes.distance == d) for d in echoes.distance])
    # what no echo explains comes from where the strongest does, most likely
    each[np.argmax(echoes.at_foot())] += echoes.left
    turn = -2j * echoes.distance[:, None] * band.propagation.imag
    stretch = 0.0
    for _ in range(3):
        turned = each * np.exp(turn * stretch)
        moved, slope = np.sum(turned, axis=0), np.sum(turn * turned, axis=0)
        weighed = band.weight * slope.conj()
        stretch += float(np.sum(weighed * (after - moved)).real / np.sum(weighed * slope).real)
    moved = np.sum(each * np.exp(turn * stretch), axis=0)
    spread = np.sqrt(np.sum(np.abs(weighed * (after - moved)) ** 2) / 2)
    uncertainty = float(spread / np.sum(weighed * slope).real)
    if SIGNIFICANT * uncertainty < abs(stretch) < MOST_STRETCH:
        return stretch, moved
    return 0.0, before


def _laid_to_places(
    found: Echoes, shared: Complex, events: Events, baseline: Events, end_m: float
) -> tuple[Change, ...]:
    """Changes at the events' places, from the echoes of the difference."""
    near = NEAREST * found.band.resolution
    off = np.abs(baseline.distance_m[:, None] - events.distance_m)
    gone = baseline.distance_m[np.all(off >= near, axis=1)]
    places = np.sort(np.concatenate([events.distance_m, gone]))
    places = places[places < end_m]
    if not places.size or not found.distance.size:
        return ()
    last = np.searchsorted(places, found.distance + near, side="right") - 1
    closest = np.argmin(np.abs(found.distance[:, None] - places), axis=1)
    beside = np.abs(found.distance - places[closest]) < near
    place = places[np.where(beside, closest, np.maximum(last, 0))]
    _, of_size = found.uncertainty()
    doubt = np.hypot(of_size, np.linalg.norm(found.moved_by(shared), axis=0) / np.sqrt(2))
    size = np.linalg.norm(found.coefficients, axis=1)
    changes: list[Change] = []
    for where in np.unique(place):
        here = place == where
        whole, least = (float(np.linalg.norm(of[here])) for of in (size, doubt))
        if whole > max(LEAST, SIGNIFICANT * least):
            changes += [_change(float(where), whole, near, events, baseline)]
    return tuple(changes)


def _change(where: float, size: float, near: float, events: Events, baseline: Events) -> Change:
    """The change at a place, by the nearest event of each sweep if it is near enough."""
    value, kind = [], []
    for found in (baseline, events):
        off = np.abs(found.distance_m - where)
        here = int(np.argmin(off)) if off.size and np.min(off) < near else None
        value.append(0j if here is None else complex(found.reflection[here]))
        kind.append("" if here is None else found.kind[here])
    what = "changed" if all(kind) else "new" if kind[1] else "gone"
    return Change(where, what, value[0], value[1], size, kind[1] or kind[0])
