"""In which order networks are offered: by the power that reaches the load, then by what they take.

Loss is never a way to a low SWR: it counts as lost, whatever it does to the reflection.
"""

from collections.abc import Callable, Iterable, Sequence
from enum import IntEnum
from typing import TypeVar

import numpy as np

from rfcal import defaults
from rfcal.matching.element import SERIES
from rfcal.matching.goal import Candidate
from rfcal.matching.network import Network
from rfcal.matching.parts import Stub

T = TypeVar("T")
LINE_EFFORT = 1.5
"""What a piece of line takes beside a coil or a capacitor [1] (common practice, no source)."""
METRE_EFFORT = 0.1
"""And each metre of it [1/m] (common practice, no source)."""

LOW_PASS_EASE = 0.1
"""What a low-pass is better than a high-pass of as many parts [1]: it keeps a transmitter's
harmonics back (common practice, no source)."""


class Group(IntEnum):
    """Networks that are offered one after the other, whatever they lose."""

    HOLDS = 0  # the target over the band, by parts that are easy to build
    AWKWARD = 1  # it holds, by a stub that floats or by much cable
    BY_A_HAIR = 2  # it holds, but less than half of such networks would
    MISSES = 3  # the target, and delivers more than no network would
    BELOW = 4  # no network would deliver more


def effort(network: Network) -> float:
    """What it takes to build, in coils and capacitors [1]."""
    ease = LOW_PASS_EASE if network.form == "low-pass" else 0.0
    return -ease + sum(
        1.0 if e.line is None else LINE_EFFORT + METRE_EFFORT * float(e.value)
        for e in network.elements
    )


def cable_m(network: Network) -> float:
    """How much line it is cut from [m]."""
    return sum(float(e.value) for e in network.elements if e.line is not None)


def _awkward(network: Network) -> bool:
    """Whether it takes much cable, or a stub in series, of which neither conductor is at ground."""
    floats = any(e.place == SERIES and isinstance(e.part, Stub) for e in network.elements)
    return floats or cable_m(network) > defaults.MUCH_CABLE_M


def group(candidate: Candidate, bare_db: float, least_db: float) -> Group:
    """Where a network stands; lost without one, and with the one that loses least [dB]."""
    if candidate.lost_db >= bare_db:
        return Group.BELOW
    # what holds the SWR by twice the loss of another does so by its loss
    if not candidate.meets or candidate.lost_db > least_db + defaults.MUCH_LOSS_DB:
        return Group.MISSES
    return Group.AWKWARD if _awkward(candidate.network) else Group.HOLDS


def _why_not(candidate: Candidate, bare_db: float, least_db: float, easy_db: float) -> str:
    """Why it is left out, where another or none does better; mostly nothing.

    What is lost without one, with the one that loses least, and with the easy one of those [dB].
    """
    lost, worse = candidate.lost_db, min(bare_db, least_db + defaults.MUCH_LOSS_DB)
    if candidate.loss_db > defaults.MUCH_LOSS_DB and lost > worse:
        return (
            f"it would lose over {defaults.MUCH_LOSS_DB:g} dB, where another network or none "
            "delivers more"
        )
    if cable_m(candidate.network) > defaults.MUCH_CABLE_M and lost > easy_db:
        return f"it would take over {defaults.MUCH_CABLE_M:g} m of cable, where less does better"
    return ""


def in_order(
    candidates: Sequence[Candidate], bare_db: float
) -> tuple[tuple[Candidate, ...], dict[str, str]]:
    """Candidates by merit, best first, and why those are left out that lose too much [by name].

    `bare_db` is what no network loses by its mismatch at the band's worst frequency [dB].
    """
    least = min((c.lost_db for c in candidates), default=bare_db)
    easy = min(
        (c.lost_db for c in candidates if group(c, bare_db, least) == Group.HOLDS), default=np.inf
    )
    why = [_why_not(candidate, bare_db, least, easy) for candidate in candidates]
    kept = [c for c, reason in zip(candidates, why, strict=True) if not reason]
    ordered = by_merit(
        kept,
        lambda c: group(c, bare_db, least),
        lambda c: c.lost_db,
        lambda c: (effort(c.network), round(c.worst_swr, 1), c.lost_db),
    )
    names = {c.network.topology for c in kept}
    left_out = ((c.network.topology, reason) for c, reason in zip(candidates, why, strict=True))
    return tuple(ordered), {name: reason for name, reason in left_out if name not in names}


def by_merit(
    items: Iterable[T],
    place: Callable[[T], Group],
    lost_db: Callable[[T], float],
    then: Callable[[T], tuple[float, ...]],
) -> list[T]:
    """Items group by group: of those within a step of the most power, the least by `then` first."""
    left, found = list(items), []
    while left:
        first = min(map(place, left))
        here = [one for one in left if place(one) == first]
        near = min(map(lost_db, here)) + defaults.POWER_STEP_DB
        best = min((one for one in here if lost_db(one) <= near), key=then)
        found.append(best)
        left.remove(best)
    return found
