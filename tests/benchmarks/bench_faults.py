"""Time of a search for events, its worst errors over random lines, and how often kinds are right.

Prints its own table; run with ``-s`` to see it.
"""

import numpy as np
import pytest

from rfcal.feedline.faults.events import find_events
from rfcal.models.line import Line
from tests.unit.test_fault_kinds import tally
from tests.unit.test_faults import ENDS, foot, guess, noisy, random_case


def test_search_of_1601_points(benchmark):
    frequency = np.linspace(1e6, 160e6, 1601)
    line = Line(50.0, 0.8, 50.0, 0.5)
    clean = foot(frequency, line, ENDS["open"], ("shunt", 60.0, 20.0), ("series", 30.0, 33.0))
    seen = noisy(np.random.default_rng(1), clean)
    benchmark(find_events, frequency, seen, line)
    median = benchmark.stats.stats.median
    print(f"\nsearch for events, 1601 points: median {median * 1e3:.1f} ms (budget 25 ms)")


@pytest.mark.parametrize("loss_known", [True, False])
def test_worst_errors(loss_known):
    rng = np.random.default_rng(29)
    worst: dict[tuple[str, str], tuple[float, float, int]] = {}
    for _ in range(400):
        frequency, line, end, faults = random_case(rng)
        seen = noisy(rng, foot(frequency, line, ENDS[end], *faults))
        found = find_events(
            frequency, seen, guess(frequency, seen, line, loss_known), loss_known=loss_known
        ).distance_m
        band = f"{frequency[0] / 1e6:.0f}-{frequency[-1] / 1e6:.0f} MHz"
        truths = [(kind, place) for kind, _, place in faults]
        truths += [(end, line.length_m)] if end != "load" else []
        for what, place in truths:
            off = float(np.min(np.abs(found - place), initial=np.inf))
            metres, share, count = worst.get((band, what), (0.0, 0.0, 0))
            worst[band, what] = max(metres, off), max(share, off / place), count + 1
    print(f"\nworst errors, noise 0.001, loss {'known' if loss_known else 'unknown'}")
    for (band, what), (metres, share, count) in sorted(worst.items()):
        print(f"{band:>11} {what:>7} {count:4d} cases {metres:7.3f} m {share * 100:7.3f} %")


@pytest.mark.parametrize("loss_known", [True, False])
def test_kinds_told(loss_known):
    count = tally(np.random.default_rng(37), 600, loss_known)
    print(f"\nkinds told, 600 lines, loss {'known' if loss_known else 'unknown'}")
    for what in sorted({what for what, _ in count}):
        right, left, wrong = (count[what, verdict] for verdict in ("right", "left open", "wrong"))
        print(f"{what:>28}: right {right:3d}, left open {left:3d}, wrong {wrong:3d}")
