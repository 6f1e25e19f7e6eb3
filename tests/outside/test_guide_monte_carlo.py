"""Where first order fails: worked examples of the Monte Carlo guides, through our own draws.

Sources: JCGM 101:2008, clause 9.4, and JCGM 102:2011, clause 9.3; marks in the tables.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.maths import circles as levels
from rfcal.measurement.propagate import tolerance_of
from rfcal.uncertainty import intervals
from rfcal.uncertainty.quantity import Effect, Quantity

FOLDER = Path(__file__).parents[1] / "reference"
LOSS = json.loads((FOLDER / "jcgm101_9_4.json").read_text())
POLAR = json.loads((FOLDER / "jcgm102_9_3.json").read_text())
DRAWS = 400_000


def correlated(row, u):
    """X1 + j X2 of equal standard uncertainty and the row's correlation."""
    r = row["r"]
    first = u * (1 + 1j * r)
    second = 1j * u * np.sqrt(1 - r**2)
    effects = [Effect("shared", np.array(first)), Effect("own", np.array(second))]
    return Quantity(np.array([row["x1"] + 0j]), tuple(effects))


@pytest.mark.parametrize("row", LOSS["rows"], ids=lambda r: f"{r['r']}-{r['x1']}")
def test_comparison_loss(row):
    """JCGM 101, 9.4: mean, standard uncertainty and shortest interval of X1^2 + X2^2."""
    x = correlated(row, LOSS["u_x"])
    loss = np.abs(x.draw(np.random.default_rng(94), DRAWS)[:, 0]) ** 2 / LOSS["unit"]
    exact, printed = row["recomputed"], row["published_monte_carlo"]
    assert loss.mean() == pytest.approx(exact["mean"], rel=0.01)
    assert loss.std() == pytest.approx(exact["u"], rel=0.01)
    assert loss.std() == pytest.approx(printed["u"], rel=0.015)
    # the shortest interval's ends are loosely fixed where the density is flat
    room = 0.05 * (exact["shortest95"][1] - exact["shortest95"][0])
    ordered, inside = np.sort(loss), round(0.95 * DRAWS)
    start = np.argmin(ordered[inside:] - ordered[:-inside])
    found = ordered[[start, start + inside]]
    assert found == pytest.approx(exact["shortest95"], abs=room)
    assert found == pytest.approx(printed["shortest95"], abs=room)
    assert np.quantile(loss, [0.025, 0.975]) == pytest.approx(exact["symmetric95"], rel=0.02, abs=1)


@pytest.mark.parametrize("row", LOSS["rows"], ids=lambda r: f"{r['r']}-{r['x1']}")
def test_first_order_loss_fails_the_comparison_near_zero(row):
    """JCGM 101, 9.4 and clause 8: useless at 0 and 0.010, fair at 0.050."""
    exact = row["recomputed"]
    middle = row["x1"] ** 2 / LOSS["unit"]
    ends = middle + np.array([-1.959964, 1.959964]) * exact["u_first_order"]
    apart = np.max(np.abs(ends - exact["shortest95"]))
    if row["x1"] < 0.05:
        assert apart > tolerance_of(np.array(exact["u"]))
        assert apart > 0.8 * exact["u"]
    else:
        assert apart < 0.3 * exact["u"]


def test_interval_of_the_loss_of_a_perfect_match_reaches_zero():
    x = correlated(LOSS["rows"][0], LOSS["u_x"])
    low, high = intervals.interval(levels.SQUARED_REFLECTION, x)
    assert low[0] == 0
    assert 1 < np.sqrt(high[0]) / LOSS["u_x"] < 3


@pytest.mark.parametrize("row", POLAR["rows"], ids=lambda r: f"{r['r']}-{r['x1']}")
def test_cartesian_to_polar(row):
    """JCGM 102, 9.3: modulus, angle and their standard uncertainties."""
    x = correlated(row, POLAR["u_x"]).draw(np.random.default_rng(93), DRAWS)[:, 0]
    size, angle = np.abs(x), np.angle(x)
    found = [size.mean(), angle.mean(), size.std(), angle.std()]
    assert found == pytest.approx(row["recomputed"], rel=0.01, abs=0.012 * angle.std())
    if "published_monte_carlo" in row:
        assert found == pytest.approx(row["published_monte_carlo"], abs=0.006)
