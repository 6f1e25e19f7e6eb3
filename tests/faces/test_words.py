"""Numbers in words carry no more digits than their uncertainty supports."""

import numpy as np
import pytest

from rfcal.faces import words


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


def test_swr_near_the_edge_is_one_sided():
    assert words.swr_words(1.09, 1.05, 1.13) == "1.090 (1.050 to 1.130)"
    assert words.swr_words(40.0, 22.0, np.inf) == "above 22"
    assert words.swr_words(400.0, 321.4, np.inf) == "above 321"
    assert "no value" in words.swr_words(np.inf, np.inf, np.inf)
