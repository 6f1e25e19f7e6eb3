"""Standards that differ, that do not, and that are more than three."""

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.measurement.error_terms import solve
from rfcal.models.standards import Standard
from rfcal.uncertainty.coverage import from_repeats
from rfcal.uncertainty.quantity import Quantity, both_axes

FREQUENCY = np.linspace(100e6, 200e6, 101)
BOX = Bilinear.from_error_terms(
    np.full(101, 0.05 + 0.02j), np.full(101, 0.08j), 0.9 * np.exp(-1e-8j * FREQUENCY)
)
SPREAD = 0.003


def session(*standards, noise=None):
    known = [
        Quantity(s.reflection(FREQUENCY), both_axes(f"{i}: definition", SPREAD))
        for i, s in enumerate(standards)
    ]
    seen = [Quantity(BOX.apply(k.value), both_axes("noise", 0.0005)) for k in known]
    if noise is not None:
        seen = [Quantity(s.value + n, s.effects) for s, n in zip(seen, noise, strict=True)]
    return FREQUENCY, [s.kind for s in standards], known, seen


PLAIN = (Standard("short"), Standard("open"), Standard("load"))


def test_offset_short_half_a_wave_long_is_refused_with_its_range():
    """Half a wave long at 150 MHz: there the offset short is a short."""
    offset = Standard("short", offset_delay=1 / (2 * 150e6))
    frequency, _, known, seen = session(Standard("short"), offset, Standard("load"))
    names = ["short", "offset short", "load"]
    with pytest.raises(
        CalibrationError,
        match=r"'short' and 'offset short' are defined alike at 150 MHz, as far as they",
    ):
        solve(frequency, names, known, seen)


def test_a_fourth_standard_saves_the_half_wave():
    offset = Standard("short", offset_delay=1 / (2 * 150e6))
    solved = solve(*session(*PLAIN, offset))
    assert solved.error_box.correct(BOX.apply(np.full(101, 0.3j))) == pytest.approx(
        np.full(101, 0.3j)
    )


def test_two_standards_are_not_enough():
    with pytest.raises(CalibrationError, match="2 standards"):
        solve(*session(*PLAIN[:2]))


def test_nearly_equal_standards_are_refused_even_if_said_to_be_perfect():
    frequency = np.array([1e6])
    known = [Quantity(np.array([v], complex)) for v in (1.0, 1.0 + 1e-7, -1.0)]
    with pytest.raises(CalibrationError, match="too close together"):
        solve(frequency, ["a", "b", "c"], known, known)


def test_condition_number_says_how_well_the_standards_are_spread():
    good = solve(*session(*PLAIN)).condition
    poor = solve(*session(Standard("load", 40.0), Standard("load", 60.0), PLAIN[2])).condition
    assert good.max() < 5
    assert poor.min() > 50


def test_chi_square_is_what_the_stated_uncertainties_promise():
    """Sessions drawn as stated: chi-square averages to its degrees of freedom."""
    rng = np.random.default_rng(11)
    standards = (*PLAIN, Standard("load", 25.0), Standard("load", 120.0))
    per_point = both_axes("definition", SPREAD, per_point=True)
    known = [Quantity(s.reflection(FREQUENCY), per_point) for s in standards]
    noise = both_axes("noise", 0.002, per_point=True)
    totals = []
    for _ in range(60):
        true = [k.draw(rng, 1)[0] for k in known]
        seen = [Quantity(Quantity(BOX.apply(t), noise).draw(rng, 1)[0], noise) for t in true]
        solved = solve(FREQUENCY, list("abcde"), known, seen)
        chi_square, freedom = solved.chi_square()
        totals.append(chi_square.mean())
    assert freedom == 4
    # 60 x 101 independent values with variance 2 x 4: standard error 0.036
    assert np.mean(totals) == pytest.approx(4.0, abs=0.15)


def test_weights_beat_equal_weights_when_one_standard_is_poor():
    rng = np.random.default_rng(12)
    standards = (*PLAIN, Standard("load", 120.0))
    sizes = (0.001, 0.001, 0.001, 0.05)
    known = [
        Quantity(s.reflection(FREQUENCY), both_axes("d", size))
        for s, size in zip(standards, sizes, strict=True)
    ]
    seen = []
    for k, size in zip(known, sizes, strict=True):
        off = size * (rng.standard_normal(101) + 1j * rng.standard_normal(101))
        seen.append(Quantity(BOX.apply(k.value + off), both_axes("n", 1e-4)))
    reading = BOX.apply(np.full(101, 0.3 + 0.2j))
    weighted = solve(FREQUENCY, list("abcd"), known, seen).error_box.correct(reading)
    even = Bilinear.fit([k.value for k in known], [s.value for s in seen]).correct(reading)
    error = [np.sqrt(np.mean(np.abs(v - (0.3 + 0.2j)) ** 2)) for v in (weighted, even)]
    assert error[0] < 0.3 * error[1]


def test_standards_said_to_be_perfect_weigh_the_same():
    known = [Quantity(s.reflection(FREQUENCY)) for s in (*PLAIN, Standard("load", 120.0))]
    seen = [Quantity(BOX.apply(k.value)) for k in known]
    solved = solve(FREQUENCY, list("abcd"), known, seen)
    assert np.abs(solved.residuals()).max() < 1e-12


def test_repeats_that_happen_to_agree_weigh_no_more_than_others():
    """Two readings each of five standards: their scatter is one figure, not one a point."""
    rng, points = np.random.default_rng(7), 100
    values = (-1, 1, 0, 1j, -1j)
    known = [Quantity(np.full(points, v, complex)) for v in values]
    noise = rng.standard_normal((5, 2, points, 2)) @ np.array([0.004, 0.004j])
    seen = [from_repeats(v + n, "repeats") for v, n in zip(values, noise, strict=True)]
    found = solve(1e8 + np.arange(points), list("soluw"), known, seen)
    for weight in found.weight:
        assert np.std(weight) < 0.05 * np.mean(weight)
