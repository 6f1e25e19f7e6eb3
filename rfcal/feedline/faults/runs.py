"""What several places tell together: stretches of line between two of them, and slow changes."""

from itertools import pairwise

import numpy as np

from rfcal.feedline.faults.kinds import (
    ON_AXIS,
    SLOW,
    SMALL,
    UNCLEAR,
    UNKNOWN,
    Z_STEP,
    Diagnosis,
    Reflections,
    stretch,
    tell_each,
)

ALIKE, ALIKE_BY_GUESS = 0.1, 0.4
"""The ends of a stretch are alike within this share, the second where the loss is not known."""

FAINT, RUN, DUST = 0.1, 4.0, 0.2
"""Three or more reflections below the first [1], no further apart than the second (in resolutions)
and none below the third times the largest, can be one slow change."""


def tell_kinds(seen: Reflections) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Kinds of events on one uniform line, and the kinds that fit those of none that is known."""
    if not seen.distance.size:
        return (), ()
    told = _stretches(seen, tell_each(seen))
    kinds = _slow_changes(seen, [kind for kind, _ in told])
    fits = (fit if k in UNCLEAR else () for k, (_, fit) in zip(kinds, told, strict=True))
    return tuple(kinds), tuple(fits)


def _stretches(seen: Reflections, told: list[Diagnosis]) -> list[Diagnosis]:
    """What is told with stretches of another impedance.

    Where what lies beyond shows that nothing was lost it is one; else two resistances would do as
    well, and neither is claimed.
    """
    share = ALIKE if seen.loss_known else ALIKE_BY_GUESS
    for m in range(len(told) - 1):
        pair = slice(m, m + 2)
        r, off = seen.mean[pair].real, np.abs(seen.mean[pair].imag)
        # its ends reflect r and, as 1 - r^2 passes there and back, -r (1 - r^2)
        off_alike = abs(r[0] * (1 - r[0] ** 2) + r[1])
        alike = off_alike < share * abs(r[0]) + 3 * np.sum(seen.uncertainty[pair])
        if alike and np.all((seen.size[pair] < SMALL) & (off < ON_AXIS * np.abs(r))):
            lossless, kind = told[pair] == [(Z_STEP, ())] * 2, stretch(r[0])
            losing = [f"{'shunt' if each < 0 else 'series'} resistance" for each in r]
            told[pair] = [(kind, ()) if lossless else (UNKNOWN, (kind, each)) for each in losing]
    return told


def _slow_changes(seen: Reflections, kinds: list[str]) -> list[str]:
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
        unclear = [m for m in row if kinds[m] in (*UNCLEAR, Z_STEP)]
        if not rings and len(row) >= 3 and 2 * len(unclear) >= len(row):
            kinds[start:stop] = [SLOW] * (stop - start)
    return kinds
