"""Kinds of fault that several places tell together: stretches of line, and slow changes."""

from itertools import pairwise

import numpy as np

from rfcal.feedline.faults import kinds as one
from rfcal.feedline.faults.kinds import Reflections, Told

ALIKE, ALIKE_BY_GUESS = 0.1, 0.4
"""The ends of a stretch are alike within this share, the second where the loss is not known."""

FALLS, OFF_QUARTER = 0.15, 0.7
"""Slope over the band, in parts of the mean reflection, and phase off a quarter turn [rad], that
show a slow change begin, end or turn."""

PAIRED, LONG = 3.0, 25.0
"""Its ends are not this many times different, nor this many resolutions apart."""

FAINT, RUN, DUST = 0.1, 4.0, 0.2
"""Three or more reflections below the first [1], no further apart than the second (in resolutions)
and none below the third times the largest, can be one slow change."""


def tell_kinds(seen: Reflections) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Kinds of events on one uniform line, and the kinds that fit those of none that is known."""
    if not seen.distance.size:
        return (), ()
    told, ends = _stretches(seen, one.tell_each(seen))
    kinds = _ramps(seen, _slow_changes(seen, [kind for kind, _ in told], ends))
    fits = (fit if k in one.UNCLEAR else () for k, (_, fit) in zip(kinds, told, strict=True))
    return tuple(kinds), tuple(fits)


def _stretches(seen: Reflections, told: list[Told]) -> tuple[list[Told], set[int]]:
    """What is told with stretches of another impedance, and which events are ends of one.

    Where what lies beyond shows that nothing was lost it is one; else two resistances would do as
    well, and neither is claimed.
    """
    told, ends = list(told), set()
    share = ALIKE if seen.loss_known else ALIKE_BY_GUESS
    for m in range(len(told) - 1):
        pair = slice(m, m + 2)
        r, off = seen.mean[pair].real, np.abs(seen.mean[pair].imag)
        # its ends reflect r and, as 1 - r^2 passes there and back, -r (1 - r^2)
        off_alike = abs(r[0] * (1 - r[0] ** 2) + r[1])
        alike = off_alike < share * abs(r[0]) + 3 * np.sum(seen.uncertainty[pair])
        small = seen.size[pair] < one.SMALL
        if alike and np.all(small & (off < one.ON_AXIS * np.abs(r))):
            lossless = told[pair] == [(one.STEP, ())] * 2
            kind = one.stretch(r[0])
            for k in (m, m + 1):
                losing = f"{'shunt' if seen.mean[k].real < 0 else 'series'} resistance"
                told[k] = (kind, ()) if lossless else (one.UNKNOWN, (kind, losing))
            ends |= {m, m + 1}
    return told, ends


def _slow_changes(seen: Reflections, kinds: list[str], ends: set[int]) -> list[str]:
    """Kinds with several in a row told as one slow change.

    Not where most of the row have a clear kind of their own, as three connectors have; and not
    behind a large echo, which rings.
    """
    kinds, size, apart = list(kinds), seen.size, seen.apart
    largest = int(np.argmax(size))
    last = largest if size[largest] >= FAINT else len(kinds)
    breaks = [m for m in range(1, last) if apart[m] - apart[m - 1] >= RUN]
    breaks += [m + after for m in range(last) if size[m] >= FAINT for after in (0, 1)]
    for start, stop in pairwise(sorted({0, last, *breaks})):
        row = [m for m in range(start, stop) if size[m] > DUST * np.max(size[start:stop])]
        rings = start > 0 and size[start - 1] >= FAINT and apart[start] - apart[start - 1] < RUN
        unclear = [m for m in row if m not in ends and kinds[m] in (*one.UNCLEAR, one.STEP)]
        if not rings and len(row) >= 3 and 2 * len(unclear) >= len(row):
            kinds[start:stop] = [one.SLOW] * (stop - start)
    return kinds


def _ramps(seen: Reflections, kinds: list[str]) -> list[str]:
    """Kinds with slow changes told by their two ends: alone, one could be a gap in a conductor."""
    kinds, size, apart = list(kinds), seen.size, seen.apart
    # where the impedance begins to change along the line by Z', r = Z' / (4 j beta Z) (small
    # reflections; Pozar, 5.8): a quarter turn off a resistance, and less the higher the frequency
    slope = seen.coefficients[:, 1] / seen.mean
    off_quarter = np.abs(np.abs(np.angle(seen.mean)) - np.pi / 2)
    falls = (slope.real < -FALLS) & (np.abs(slope.imag) < FALLS) & (off_quarter < OFF_QUARTER)
    slow: set[int] = set()
    for m, n in pairwise(m for m, kind in enumerate(kinds) if falls[m] and kind == one.MISMATCH):
        weak = np.all(size[m : n + 1] < FAINT) and apart[m] > 1 and apart[n] - apart[m] < LONG
        if weak and 1 / PAIRED < size[n] / size[m] < PAIRED:
            slow |= set(range(m, n + 1))
    return [one.SLOW if m in slow and kind in one.UNCLEAR else kind for m, kind in enumerate(kinds)]
