"""The end of a line: which event it is, what lies behind it, and how far it seems off."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from rfcal.feedline.faults.basis import NEAREST
from rfcal.feedline.faults.events import RINGS_ON, Events
from rfcal.feedline.faults.kinds import MISMATCH, RESISTIVE, UNCLEAR, Z_STEP
from rfcal.maths.reflection import Real
from rfcal.models.line import SPEED_OF_LIGHT

RINGING = "ringing behind the end"
"""Kind of an event beyond the line's end: what ends the line answers late, and is no place."""

EARLY = "ringing before the end, or a place"
"""Kind of one before it, as far off as is told apart: antennas alone seldom ring so."""

END_REACH = 2.0
"""An event so many standard uncertainties before the line's end, or less, may be that end."""

LEAST_END = 0.01
"""What reflects less than this [1] from beyond a stated length is no sign of a longer line."""

RINGS, FAINTLY = 1 / 3, 0.1
"""What is below this part of the end's echo rings behind it however far, as a long wire does; by a
narrow band, where an antenna may reflect little, below the second (by simulation)."""

OPEN_OR_SHORT = "open", "short"
"""Kinds that an antenna far below its band may be; behind what reflects all no place is seen."""

SPLITS = 2.5, 2.0
"""By a wide band an antenna's own echo appears as several within so many resolutions: what is
below `RINGS` of it, and what is larger (by simulation)."""

MOST_BACK, LOSS_SHARE = 1.1, 0.1
"""No more of a wave than the first of these [1] seems to come back, but for this share of the loss
of its way: cables of one type differ by that (by simulation)."""

LEAST_LAST = 0.1
"""What reflects more [1] and lies last is a line's end."""

MISSTATED, LITTLE = 0.15, 0.6
"""Lengths are stated too long by the first of these parts at most; what reflects less than the
second of what ends a line so far before rings behind it (by simulation)."""

BLENDED = 2.5
"""What hides a line's end adds so many times its own doubt to a place, at most (by simulation)."""

OWN_DELAY, OVER_BAND = 1.7, 1.7
"""An antenna's own delay makes the end seem off by the first of these in wavelengths of mid-band,
and less by exp of minus the second times the band's share of mid-band (standard, by simulation of
resonators of Q 3 to 20 and 15 to 150 ohm); by a wide band it splits into echoes."""


def unfolded_places(events: Events, place: Real, length_m: float) -> Real:
    """Places [m], with those of the line's end and of what rings behind it where they are."""
    turns = np.round((length_m - place) / events.band.range)
    beyond = (place + turns * events.band.range - length_m) / events.band.resolution
    folded = (turns > 0) & (beyond > -NEAREST) & (beyond < RINGS_ON)
    return np.where(folded, place + turns * events.band.range, place)


def unfolded(events: Events, length_m: float) -> Events:
    """The same with what folds back from the line's end where that is, by its length [m].

    What the loss on the longer way takes [1] is made good.
    """
    moved = unfolded_places(events, events.distance_m, length_m)
    fade, order = events.band.fade, np.argsort(moved)
    more = fade(events.distance_m) / fade(moved)
    return replace(
        events,
        distance_m=moved[order],
        distance_uncertainty_m=events.distance_uncertainty_m[order],
        merged_m=events.merged_m[order],
        reflection=(more * events.reflection)[order],
        reflection_uncertainty=(more * events.reflection_uncertainty)[order],
        kind=tuple(events.kind[k] for k in order),
        fits=tuple(events.fits[k] for k in order),
    )


def own_delay(events: Events, frequency: Real) -> Real:
    """What an antenna's own delay adds to the ± of each event if it is the end [m], shape (K,).

    It may be where a narrow band leaves its kind open.
    """
    middle = float(np.mean(frequency))
    share = float(frequency[-1] - frequency[0]) / middle
    wave = events.velocity_factor * SPEED_OF_LIGHT / middle
    own = OWN_DELAY * np.exp(-OVER_BAND * share) * wave * events.band.narrow
    return np.where([kind in UNCLEAR for kind in events.kind], own, 0.0)


def with_own_delay(events: Events, own: Real, ends: slice) -> Events:
    """The same with that in the ± of those events that may be the end."""
    of_place = events.distance_uncertainty_m.copy()
    of_place[ends] = np.hypot(of_place[ends], own[ends])
    return replace(events, distance_uncertainty_m=of_place)


def strongest_on(events: Events) -> slice:
    """Which events may be the end of a line of unknown length: the strongest and those behind.

    An antenna may appear as several by a wide band; then the first of them is it.
    """
    if not events.kind:
        return slice(None)
    size, unclear = events.size, np.isin(events.kind, UNCLEAR)
    strongest = int(np.argmax(size))
    before = events.distance_m[strongest] - events.distance_m
    split = (before < SPLITS[0] * events.band.resolution) & unclear & unclear[strongest]
    split &= (size > RINGS * size[strongest]) & (not events.band.narrow)
    split[strongest] = True
    return slice(int(np.argmax(split)), None)


def ringing(events: Events, end: int | None = None) -> np.ndarray:
    """Which events are part of how the end answers, or what may be it, as antennas do, (K,)."""
    size, unclear = events.size, np.isin(events.kind, UNCLEAR)
    end = strongest_on(events).start if end is None else end
    behind = (events.distance_m - events.distance_m[end]) / events.band.resolution
    largest = np.max(size[end:])
    far = FAINTLY if events.band.narrow else RINGS
    # what may be a leak or a joint shows what is behind it, near as that may be
    near = RINGS_ON if RESISTIVE.isdisjoint(events.fits[end]) else 0.0
    late = (behind > 0) & ((behind < near) | (size < far * largest))
    before = np.where(size < RINGS * largest, *SPLITS)
    early = (behind < 0) & (behind > -before) & (size < largest)
    late &= unclear[end] | (events.kind[end] in OPEN_OR_SHORT)
    early &= unclear & unclear[end] & (not events.band.narrow)
    return np.asarray(late | early)


def more_than_all(events: Events) -> bool:
    """Whether by the loss of the line more comes back than all, and more than that is unsure."""
    size = events.size
    kept = events.band.fade(events.distance_m)
    return bool(np.any(size * kept**LOSS_SHARE > MOST_BACK))


def end_among(events: Events, length_m: float, of_place: Real, last_m: float) -> int | None:
    """Which event is the end of a line so long [m], by what is unsure of each place from there [m].

    Before the end only what the uncertainties explain is it; behind it nothing is but the end,
    which an antenna's own delay carries outward, and what rings. What rings behind a place before
    it is no end, by a narrow band if it is faint.
    """
    off, size = events.distance_m - length_m, events.size
    may_be = (-off < END_REACH * of_place) & (events.distance_m < last_m)
    if size.size:
        may_be &= ~ringing(events) | (events.band.narrow & (size > FAINTLY * np.max(size)))
    return int(np.argmax(np.where(may_be, size, 0.0))) if np.any(may_be) else None


def sooner_end(events: Events, length_m: float, kinds: Collection[str]) -> float:
    """Where a line ends that is shorter than it is stated to be [m], or slower; else that length.

    That is what reflects most if it is of kinds that antennas have, and little is behind it.
    """
    size = events.size
    if events.band.narrow or np.max(size, initial=0.0) < LEAST_LAST:
        return length_m
    most = int(np.argmax(size))
    place, behind = float(events.distance_m[most]), np.max(size[most + 1 :], initial=0.0)
    near = (1 - MISSTATED) * length_m < place < length_m
    little = behind < LITTLE * size[most] and events.kind[most] in kinds
    return place if near and little else length_m


def beyond_end(events: Events, end: int | None, last_m: float) -> float | None:
    """Where something beyond the stated end reflects more than what is there, if it does [m]."""
    size = events.size
    if not size.size:
        return None
    beyond = np.where((events.distance_m >= last_m) & ~ringing(events), size, 0.0)
    at_end = LEAST_END if end is None else size[end]
    return float(events.distance_m[np.argmax(beyond)]) if np.any(beyond > at_end) else None


def behind_end(events: Events, end: int | None, length_m: float) -> Events:
    """The same with what is behind the end, or part of how it answers, called so.

    A narrow band takes an end [m] for one with what is near it: how much of that it is, is not
    known where no end shows, and what is left may be as far off on the other side; where one does,
    half as far, or some times as much as the band itself leaves open.
    """
    off, kinds = events.distance_m - length_m, list(events.kind)
    behind, early = off > 0, np.zeros(off.size, bool)
    if end is not None:
        other = np.arange(off.size) - end
        behind = (other > 0) | (behind & (other < 0)) | ringing(events, end)
        early = behind & (events.distance_m < events.distance_m[end] - events.band.near)
        # what rings behind it does not make the end a resistance on the way
        kinds[end] = MISMATCH if kinds[end] in (*RESISTIVE, Z_STEP) else kinds[end]
    near = events.band.narrow & (np.abs(off) < events.band.near) & (np.arange(off.size) != end)
    of_place = events.distance_uncertainty_m
    beside = np.minimum(np.abs(off) / (2 if end is None else 4), BLENDED * of_place)
    of_place = np.hypot(of_place, near * beside)
    fits = zip(events.fits, behind, strict=True)
    return replace(
        events,
        distance_uncertainty_m=of_place,
        kind=tuple(np.where(early, EARLY, np.where(behind, RINGING, kinds)).tolist()),
        fits=tuple(() if late else each for each, late in fits),
    )
