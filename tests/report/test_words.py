"""Numbers in words carry no more digits than their uncertainty supports."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rfcal.report.text.device import method_words
from rfcal.uncertainty import words


@pytest.mark.parametrize(
    ("value", "half", "said"),
    [
        (52.1349, 0.83, "52.13 ± 0.83"),
        (52.1349, 8.3, "52.1 ± 8.3"),
        (1234.5, 83.0, "1234 ± 83"),
        (1234.5, 830.0, "1230 ± 830"),
        (-0.04, 0.2, "-0.04 ± 0.20"),
        (3.0, 0.0996, "3.00 ± 0.10"),
        (1e-5, 3.2, "0.0 ± 3.2"),
        (-0.4, 41.0, "0 ± 41"),
    ],
)
def test_plus_minus(value, half, said):
    assert words.plus_minus(value, half) == said


def test_complex_in_the_trades_notation():
    assert words.complex_ohm(52.13 - 3.44j, np.array([0.8, 1.1])) == "52.13 - j3.4 ohm"
    assert words.complex_ohm(2.0 + 310j, np.array([15.0, 12.0])) == "2 + j310 ohm"
    assert words.complex_ohm(complex(np.inf), np.array([np.inf, 1.0])) == "infinite, as an open"


def swr(value, low, high):
    return words.value_words(value, low, high, least=1.0)


def test_swr_near_the_edge_has_one_end():
    assert swr(1.09, 1.05, 1.13) == "1.090 (1.050 to 1.130)"
    assert swr(1.0022, 1.0, 1.01444) == "below 1.015"
    assert swr(40.0, 22.0, np.inf) == "above 22"
    assert swr(400.0, 321.4, np.inf) == "above 320"
    assert swr(370.1, 182.2, 2662.4) == "400 (180 to 2700)"
    assert swr(200.0, 1.2, 10_000.0) == "200 (1 to 10000)"
    assert swr(np.inf, 180.0, 2662.4) == "from 180 to 2700"
    assert "no value" in swr(np.inf, np.inf, np.inf)


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (5.0, 0.69533, 10.1585, "5.0 (0.69 to 10.2) ohm"),
        (0.047, 0.0068, 0.0957, "0.047 (0.0068 to 0.096) ohm"),
        (0.16, 0.0, 0.31, "below 0.31 ohm"),
        (-0.02, 0.0, 0.311, "below 0.32 ohm"),
        (np.inf, 1451.0, np.inf, "above 1400 ohm"),
        (14000.0, 9975.0, np.inf, "above 9900 ohm"),
        (2e6, 14510.0, np.inf, "above 14000 ohm"),
        (9.8, 9.5903, np.inf, "above 9.5 ohm"),
        (0.0, 0.0, 0.0, "0 ohm"),
        (1.0, 0.0, np.inf, "unknown"),
        (9.0, 4.0, 14.0, "9.0 ± 5.0 ohm"),
        (1.0, 0.00045, 2.08, "1.0 (0.0 to 2.1) ohm"),
        (6000.0, 295.0, 1e6, "10000 (290 to 1000000) ohm"),
        # of an active device, so the bound does not hold
        (-5.0, -6.0, -4.0, "-5.0 ± 1.0 ohm"),
    ],
)
def test_interval_says_which_ends_are_known(value, low, high, said):
    assert words.value_words(value, low, high, "ohm", least=0.0) == said


def test_a_sign_may_change_where_there_is_no_bound():
    assert words.value_words(-0.4, -5.0, 4.2) == "-0.4 ± 4.6"


@given(
    st.floats(1e-3, 1e5),
    st.floats(1e-4, 1e5),
    st.floats(1e-4, 1e5),
    st.sampled_from([0.0, -np.inf]),
)
def test_printed_ends_hold_the_interval(low, below, above, least):
    value, high = low + below, low + below + above
    said = words.value_words(value, low, high, least=least)
    assume("(" in said)
    first, last = (float(v) for v in said.split("(")[1].rstrip(")").split(" to "))
    # nothing is cut off, little is added, and nothing beyond the bound
    slack, most = 1e-5 * (high - low), 0.05 * (high - low) + 1e-9
    assert max(low - most, least) <= first <= low + slack
    assert high - slack <= last <= high + most
    assert first <= float(said.split(" (")[0]) <= last


def test_a_share_of_draws_has_the_digits_that_its_count_supports():
    """Twice the binomial deviation: 400 draws leave 5 points at a half, 4,000 at 99 % none."""
    assert words.share_words(0.5, 0.025) == "50% ± 5%"
    assert words.share_words(0.914, 0.0044) == "91% ± 1%"
    assert words.share_words(0.99, 0.0016) == "99%"
    assert words.share_words(1.0, 1 / 4000) == "100%"
    # 0.97 to the power of 100 is 0.048: none of a hundred failing says no more than that
    assert words.share_words(1.0, 1 / 100) == "above 97%"
    assert words.share_words(0.0, 1 / 100) == "below 3%"
    # and nothing reaches beyond all or none where nearly all or none count
    assert words.share_words(399 / 400, 0.003) == "above 99%"
    assert words.share_words(1 / 400, 0.003) == "below 1%"


@pytest.mark.parametrize(
    ("upheld", "said"),
    [
        (16, "upholds linear propagation at all of them, by 20000 draws."),
        (1, "at 1 of them; believe the intervals, which hold everywhere, by"),
        (0, "at none of them; believe the intervals"),
    ],
)
def test_what_linear_propagation_cannot_say_is_no_failure_of_the_answer(computed, upheld, said):
    (device,) = computed("car-whip").devices
    linear = np.arange(device.assessed.index.size)[:, None] < [upheld, upheld]
    assert said in method_words(replace(device, assessed=replace(device.assessed, linear=linear)))
