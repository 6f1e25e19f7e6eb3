"""What a difference between two sweeps of a line is, and what it explains of others."""

from dataclasses import dataclass

from rfcal.feedline.changes.loss import Lost
from rfcal.feedline.changes.shift import Shift, closes
from rfcal.feedline.faults.end import OPEN_OR_SHORT
from rfcal.maths.reflection import Complex

TRIFLE = 0.02
"""Changes of the reflection smaller than this [1] are left out (root mean square over the band)."""

GROWN = 2.0
"""What reflects so many times as much as it did is a fault that has come."""

END_ALIKE, END_UNLIKE = 0.99, 0.975
"""What ends a line is as it was if what comes from there goes over the band as it did to the first
of these parts, and is not below the second (by simulation)."""


@dataclass(frozen=True, eq=False)
class Change:
    """One difference between two sweeps of a line."""

    distance_m: float
    what: str  # "new", "gone" or "changed"
    before: complex  # mean reflection over the band in the baseline [1], zero where there was none
    after: complex  # and now
    size: float  # of the difference, phase counted, root mean square over the band [1]
    kind: str  # of the event now; in the baseline for one that is gone
    fits: tuple[str, ...] = ()  # kinds that fit it where its kind is not known
    closed: bool = False  # whether nothing is seen beyond it any more

    @property
    def more(self) -> complex:
        """By how much more it reflects [1]."""
        return self.after - self.before

    @property
    def grown(self) -> bool:
        """Whether it is new, or reflects far more than it did."""
        return self.what != "gone" and abs(self.after) > GROWN * abs(self.before)


@dataclass(frozen=True, eq=False)
class Comparison:
    """A line against an earlier sweep of it."""

    # near to far; read the nearest first: a new fault keeps part of the wave from all that lies
    # beyond it, so that farther events seem changed too
    changes: tuple[Change, ...]
    shift: Shift | None  # how the line's places have moved; None where that is not significant
    lost: Lost | None  # what it loses more all along it, made good like the shift
    largest: float  # difference of the two sweeps at one frequency, the shift made good [1]
    largest_hz: float  # where that is
    came: tuple[Complex, Complex]  # the earlier sweep, the shift made good, and the later one [1]
    by_length: bool  # whether a piece of line put in or taken out alone explains all of it
    weather: Lost | None = None  # the same, or less, as weather makes it
    hidden: bool = False  # whether it may lose more, unseen beside an end that changed
    through: str = ""  # how the new place explains what changed beyond it, if one place is new


def closed(before: float, was: str, after: float, now: str) -> bool:
    """Whether what lets through what is behind it, by size [1] and kind, does so no more."""
    # by its kind behind a fault too, which keeps part of the wave back
    return (now in OPEN_OR_SHORT and was not in OPEN_OR_SHORT) or bool(closes(before, after))
