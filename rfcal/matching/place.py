"""Where to match: at the load, at a point of the line, or at the source; and what each costs."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching.goal import Candidate, Goal, judge
from rfcal.matching.network import Network
from rfcal.matching.ranking import TOPOLOGIES, Ranking, rank
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Real
from rfcal.models.line import Line


def at_point(goal: Goal, line: Line, from_load_m: float) -> Goal:
    """The same goal for the load as it is seen through a piece of line.

    Parameters
    ----------
    goal : Goal
        With the load itself.
    line : Line
        The existing line from source to load.
    from_load_m : float
        Length of the piece [m].

    Returns
    -------
    Goal
        With the load at that point.

    Raises
    ------
    MatchingError
        A point that is not on the line.
    """
    if not 0 <= from_load_m <= line.length_m:
        raise MatchingError(
            f"a point {from_load_m:.4g} m from the load is not on a line of {line.length_m:.4g} m"
        )
    piece = line.two_port(goal.frequency, np.array(from_load_m))
    return replace(goal, load=piece.input_impedance(goal.load))


@dataclass(frozen=True, eq=False)
class Placed:
    """The candidates of one place, each with the line it leaves on both sides.

    Parameters
    ----------
    from_load_m : float
        The place [m].
    ranking : Ranking
        Of the networks alone, at that place.
    whole : tuple of Candidate
        The same networks with the whole line, in order of the total loss of those that meet the
        target at the source, then by worst SWR.
    line_only_db : ndarray, shape (F,)
        What the line alone loses with the unmatched load on it [dB].
    """

    from_load_m: float
    ranking: Ranking
    whole: tuple[Candidate, ...]
    line_only_db: Real


def rank_places(
    goal: Goal,
    line: Line,
    places_m: Sequence[float],
    *,
    stock: Stock | None = None,
    topologies: Sequence[str] = TOPOLOGIES,
    q: float | None = None,
) -> tuple[Placed, ...]:
    """Candidates for several places on an existing line.

    Parameters
    ----------
    goal : Goal
        With the load itself.
    line : Line
        The existing line from source to load.
    places_m : sequence of float
        Distances from the load [m]: 0 at the load, the line's length at the source.
    stock : Stock, optional
        What can be bought and cut.
    topologies : sequence of str
        As for `rank`.
    q : float, optional
        As for `rank`.

    Returns
    -------
    tuple of Placed
        One for each place.

    Raises
    ------
    MatchingError
        A place that is not on the line.
    """
    alone = Network("none", ()).on_line(line, line.length_m)
    loss = alone.losses_db(goal.frequency, goal.load).sum(axis=0)
    found = []
    for place in places_m:
        ranking = rank(at_point(goal, line, place), stock=stock, topologies=topologies, q=q)
        whole = [
            judge(goal, c.network.on_line(line, place), c.ideal.on_line(line, place))
            for c in ranking.candidates
        ]
        whole.sort(key=lambda c: (not c.meets, c.loss_db if c.meets else c.worst_swr))
        found.append(Placed(place, ranking, tuple(whole), loss))
    return tuple(found)
