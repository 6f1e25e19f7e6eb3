"""Reflection, the bilinear map and two-ports: round trips and identities."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import least_squares as scipy_least_squares
from scipy.optimize import nnls

from rfcal.errors import CalibrationError
from rfcal.maths import reflection as refl
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.bounded import least_squares, nonnegative
from rfcal.maths.fitting import influence
from rfcal.maths.twoport import TwoPort

part = st.floats(-2, 2, allow_nan=False)
numbers = st.builds(complex, part, part)
disc = st.builds(lambda r, a: r * np.exp(1j * a), st.floats(0, 0.99), st.floats(-3.2, 3.2))
boxes = st.builds(
    lambda d, s, t, a: Bilinear.from_error_terms(0.3 * d, 0.3 * s, (0.5 + t) * np.exp(1j * a)),
    disc,
    disc,
    st.floats(0, 1),
    st.floats(-3.2, 3.2),
)


@given(disc, st.floats(1, 1000))
def test_impedance_and_back(reflection, z_ref):
    z = refl.to_impedance(reflection, z_ref)
    assert refl.from_impedance(z, z_ref) == pytest.approx(reflection, abs=1e-12)
    assert refl.to_admittance(reflection, z_ref) * z == pytest.approx(1, abs=1e-10) or z == 0


@given(disc, st.floats(5, 500), st.floats(5, 500))
def test_renormalising_is_the_way_over_impedance(reflection, z_from, z_to):
    expected = refl.from_impedance(refl.to_impedance(reflection, z_from), z_to)
    assert refl.renormalise(reflection, z_from, z_to) == pytest.approx(expected, abs=1e-9)


def test_open_and_short_have_plain_limits():
    assert refl.to_impedance(1.0) == np.inf
    assert refl.from_impedance(np.inf) == 1
    assert refl.from_impedance(0.0) == -1
    assert refl.swr([0.0, 0.5, 1.0, 1.2]).tolist() == [1.0, pytest.approx(3.0), np.inf, np.inf]
    assert refl.return_loss_db([0.1, 0.0]).tolist() == [pytest.approx(20.0), np.inf]
    assert np.isinf(refl.impedance_derivative(1.0))


@given(disc)
def test_impedance_derivative_is_the_slope(reflection):
    step = 1e-6
    slope = (refl.to_impedance(reflection + step) - refl.to_impedance(reflection - step)) / 2e-6
    assert refl.impedance_derivative(reflection) == pytest.approx(complex(slope), rel=1e-3)


@given(boxes, disc)
def test_correct_undoes_apply(box, x):
    seen = box.apply(x)
    assert box.correct(seen) == pytest.approx(x, abs=1e-9)
    assert box.invert().apply(seen) == pytest.approx(x, abs=1e-9)


@given(boxes, boxes, disc)
def test_compose_then_remove(near, far, x):
    both = near @ far
    assert both.apply(x) == pytest.approx(near.apply(far.apply(x)), abs=1e-9)
    assert (near.invert() @ both).apply(x) == pytest.approx(far.apply(x), abs=1e-9)


@given(boxes)
def test_error_terms_are_views_of_the_map(box):
    again = Bilinear.from_error_terms(box.directivity, box.source_match, box.reflection_tracking)
    assert again.apply(0.3 - 0.2j) == pytest.approx(complex(box.apply(0.3 - 0.2j)), abs=1e-12)
    assert box.apply(0.0) == pytest.approx(complex(box.directivity))
    assert box.derivative(0.0) == pytest.approx(complex(box.reflection_tracking))


@given(boxes, disc)
def test_derivative_is_the_slope(box, x):
    slope = (box.apply(x + 1e-6) - box.apply(x - 1e-6)) / 2e-6
    assert box.derivative(x) == pytest.approx(complex(slope), rel=1e-6, abs=1e-8)


@given(boxes, st.lists(numbers, min_size=3, max_size=6))
def test_embed_then_fit_finds_the_map(box, points):
    gaps = [abs(a - b) for i, a in enumerate(points) for b in points[:i]]
    # points near the map's pole have no finite reading
    assume(min(gaps) > 0.3 and all(abs(box.c * p + box.d) > 0.2 for p in points))
    known = [np.array([p]) for p in points]
    fitted = Bilinear.fit(known, [box.apply(k) for k in known])
    assert fitted.correct(box.apply(np.array([0.2 + 0.1j]))) == pytest.approx(0.2 + 0.1j, abs=1e-8)


def test_weights_pull_towards_the_trusted_standards():
    known = [np.array([v]) for v in (1.0 + 0j, -1.0, 0.0, 0.5j)]
    seen = [k.copy() for k in known]
    seen[3] = seen[3] + 0.1
    even = Bilinear.fit(known, seen)
    trusting = Bilinear.fit(known, seen, [np.array([w]) for w in (1.0, 1.0, 1.0, 1e-8)])
    assert abs(even.correct(np.array([0.0]))[0]) > 1e-3
    assert abs(trusting.correct(np.array([0.0]))[0]) < 1e-7


def test_influence_is_the_derivative_of_the_fit():
    rng = np.random.default_rng(5)
    box = Bilinear.from_error_terms(np.array([0.1]), np.array([0.1j]), np.array([0.9]))
    for count in (3, 4, 6):
        known = list(rng.normal(size=(count, 1)) + 1j * rng.normal(size=(count, 1)))
        seen = [box.apply(k) for k in known]
        weight = list(rng.uniform(0.5, 2, (count, 1)))
        x = np.array([0.3 - 0.4j])
        reading = box.apply(x)
        share = influence(known, seen, x, reading, weight)
        for i in range(count):
            moved = [k + 1e-7 * (i == j) for j, k in enumerate(known)]
            shift = (Bilinear.fit(moved, seen, weight).correct(reading) - x) / 1e-7
            change = share[i] * (box.c * seen[i] - box.a) / (box.c * reading - box.a)
            assert change == pytest.approx(shift, rel=1e-4, abs=1e-5)


def test_fewer_than_three_points_are_refused():
    with pytest.raises(CalibrationError, match="three points"):
        Bilinear.fit([np.ones(1), np.zeros(1)], [np.ones(1), np.zeros(1)])


positive = st.floats(1, 300)


@given(positive, st.floats(0, 1), st.floats(0.01, 6), positive, st.floats(-300, 300))
def test_a_line_as_two_port_and_as_map(z0, loss, turn, r, x):
    line = TwoPort.line(z0, loss + 1j * turn)
    load = complex(r, x)
    seen = line.bilinear(50.0).apply(refl.from_impedance(load))
    assert refl.to_impedance(seen) == pytest.approx(complex(line.input_impedance(load)), rel=1e-6)


@given(st.floats(0.1, 500), st.floats(-500, 500), st.floats(-0.1, 0.1), positive)
def test_lossless_elements_lose_no_power(r, x, b, z0):
    chain = TwoPort.series(1j * x) @ TwoPort.shunt(1j * b) @ TwoPort.line(z0, 0.7j)
    assert chain.power_gain(complex(r, 30)) == pytest.approx(1.0, rel=1e-6)


def test_resistor_in_series_takes_its_share():
    assert TwoPort.series(50.0).power_gain(150.0) == pytest.approx(0.75)
    assert TwoPort.shunt(1 / 100).power_gain(100.0) == pytest.approx(0.5)


def test_circle_of_reflections_is_a_circle_of_impedances():
    middle, radius = np.array([0.3 + 0.4j, -0.2j, 0.95]), np.array([0.2, 0.01, 0.1])
    centre, reach = refl.impedance_circle(middle, radius)
    edge = refl.to_impedance(middle[:, None] + radius[:, None] * np.exp(1j * np.arange(7.0)))
    assert np.abs(edge - centre[:, None])[:2] == pytest.approx(
        np.broadcast_to(reach[:2, None], (2, 7)), rel=1e-9
    )
    assert np.isinf(reach[2])


def test_parts_that_are_not_negative_are_those_of_scipy():
    rng = np.random.default_rng(5)
    for count in (3, 15, 40) * 20:
        columns, seen = rng.standard_normal((20, count)), rng.standard_normal(20)
        (parts, left), (expected, expected_left) = nonnegative(columns, seen), nnls(columns, seen)
        assert parts == pytest.approx(expected, abs=1e-12)
        assert left == pytest.approx(expected_left, abs=1e-12)


@pytest.mark.parametrize("most", [np.array([5.0, 9.0]), np.array([5.0, 1.2])])
def test_least_squares_between_bounds_are_those_of_scipy(most):
    rng, x = np.random.default_rng(6), np.linspace(0, 3, 40)
    seen = 2 * np.exp(-1.5 * x) + 0.01 * rng.standard_normal(40)

    def misfit(values):
        return values[..., :1] * np.exp(-values[..., 1:] * x) - seen

    start, least = np.array([0.5, 0.1]), np.zeros(2)
    values, left, slopes = least_squares(misfit, start, least, most)
    expected = scipy_least_squares(misfit, start, bounds=(least, most))
    assert values == pytest.approx(expected.x, abs=1e-6)
    assert left == pytest.approx(misfit(values))
    assert slopes == pytest.approx(expected.jac, abs=1e-5)


def test_least_squares_stay_where_the_misfit_next_to_them_overflows():
    edge = np.log(np.finfo(float).max)

    def misfit(values):
        with np.errstate(over="ignore"):
            return np.exp(values * np.ones(3))

    values, left, _ = least_squares(misfit, np.array([edge]), np.zeros(1), np.full(1, 1e9))
    assert values == pytest.approx([edge])
    assert np.all(np.isfinite(left))


@pytest.mark.parametrize("points", [2, 5000])
@pytest.mark.parametrize("pair", [(0, 1), (0, 2), (1, 2)])
@pytest.mark.parametrize("side", ["known", "seen"])
def test_two_equal_points_at_one_frequency_are_refused(side, pair, points):
    rng = np.random.default_rng(2)
    given = {
        k: rng.normal(size=(3, points)) + 1j * rng.normal(size=(3, points))
        for k in ("known", "seen")
    }
    given[side][pair[1], -1] = given[side][pair[0], -1]
    with pytest.raises(CalibrationError, match="two of the points are the same"):
        Bilinear.fit(given["known"], given["seen"])


@pytest.mark.parametrize("drawn", range(3))
@pytest.mark.parametrize("readings", [complex, float])
def test_one_of_three_may_be_draws_and_others_one_number(drawn, readings):
    rng = np.random.default_rng(drawn)
    known = [-1.0, 0.0, 1.0]
    known[drawn] = known[drawn] + 0.1 * rng.standard_normal((5, 1))
    seen = np.array([0.9, 0.1, -0.8])[:, None] + rng.uniform(0, 0.1, 4)
    seen = list(seen.astype(readings))
    box = Bilinear.fit(known, seen)
    for standard, reading in zip(known, seen, strict=True):
        assert box.correct(reading) == pytest.approx(np.broadcast_to(standard, (5, 4)), abs=1e-12)
    # and so where there are too many for one piece
    many = Bilinear.fit(known, [np.tile(m, 2000) for m in seen])
    assert many.a.shape == (5, 8000)
    assert many.correct(0.2) == pytest.approx(np.tile(box.correct(0.2), 2000), abs=1e-12)


@pytest.mark.parametrize("points", [(-1, 1, 1j), (1j, -1j, 0), (0.5 + 0.5j, -0.5 + 0.5j, -0.5j)])
def test_what_differs_is_no_same_point_whatever_its_determinant(points):
    """An imaginary determinant, among others: through these the identity is found."""
    found = Bilinear.fit(points, points)
    assert found.apply(0.3 - 0.7j) == pytest.approx(0.3 - 0.7j, rel=1e-14)
    turned = Bilinear.fit(points, [1j * v for v in points])
    assert turned.derivative(0.2) == pytest.approx(1j, rel=1e-14)
