"""Uncertainty against GTC (an independent GUM library) and the GUM's own example H.2."""

import json
from pathlib import Path

import GTC
import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.error_terms import self_correcting, solve
from rfcal.measurement.propagate import Inputs, impedance, propagate
from rfcal.uncertainty import coverage
from rfcal.uncertainty.coverage import degrees_of_freedom, from_repeats, region_factor, student
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes
from tests.drawn import monte_carlo

BOX = Bilinear.from_error_terms(
    np.array([0.05 + 0.02j]), np.array([0.1 - 0.05j]), 0.9 * np.exp([0.7j])
)
FREQUENCY = np.array([70.2e6])
DEVICES = [120 - 45j, 1.11 - 16.8j, 50 + 0j, 3000 + 200j, 8 + 300j]
KNOWN = {"open": 1.0, "short": -1.0, "load": 0.0, "25 ohm": -1 / 3, "offset short": 1j}
DEFINITION = dict(zip(KNOWN, (0.005, 0.004, 0.010, 0.006, 0.008), strict=True))
NOISE, CONNECTION = 0.0005, 0.001


def session(device_ohm: complex, count: int) -> Inputs:
    """A consistent session with the first `count` standards and every kind of source."""
    known, seen = [], []
    for name in list(KNOWN)[:count]:
        effects = (
            *both_axes(f"{name}: definition", DEFINITION[name]),
            *both_axes(f"{name}: connection", CONNECTION),
        )
        known.append(Quantity(np.array([KNOWN[name]], complex), effects))
        noise = both_axes(f"{name}: noise", NOISE, per_point=True)
        seen.append(Quantity(BOX.apply(known[-1].value), noise))
    calibration = solve(FREQUENCY, list(KNOWN)[:count], known, seen)
    reading = BOX.apply(from_impedance(np.array([device_ohm])))
    zero = np.zeros(1, complex)
    return Inputs(
        calibration,
        Quantity(reading, both_axes("noise", NOISE, per_point=True)),
        Quantity(zero, both_axes("connection", CONNECTION)),
    )


def gtc_value(quantity: Quantity):
    """The same quantity as GTC's uncertain complex number."""
    covariance = quantity.covariance()[0].ravel()
    return GTC.ucomplex(complex(quantity.value[0]), tuple(covariance))


def gtc_impedance(inputs: Inputs):
    """The chain written again in GTC's own arithmetic: normal equations, correction, Z."""
    known = [gtc_value(k) for k in inputs.calibration.known]
    seen = [gtc_value(s) for s in inputs.calibration.seen]
    count = len(known)
    weight = inputs.calibration.weight or [np.ones(1)] * count
    # rows (g, 1, -g m) x = m, A^H W A x = A^H W m by Cramer's rule
    rows = [(g, 1, -g * m) for g, m in zip(known, seen, strict=True)]
    fixed = [[complex(GTC.value(v)).conjugate() for v in row] for row in rows]
    matrix = [
        [
            sum(float(weight[k][0]) * fixed[k][i] * rows[k][j] for k in range(count))
            for j in (0, 1, 2)
        ]
        for i in (0, 1, 2)
    ]
    right = [
        sum(float(weight[k][0]) * fixed[k][i] * seen[k] for k in range(count)) for i in (0, 1, 2)
    ]

    def det(m):
        return (
            m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
        )

    def swapped(column):
        return [[right[i] if j == column else matrix[i][j] for j in (0, 1, 2)] for i in (0, 1, 2)]

    whole = det(matrix)
    a, b, c = (det(swapped(column)) / whole for column in (0, 1, 2))
    reading = gtc_value(inputs.reading)
    reflection = (reading - b) / (a - c * reading) - gtc_value(inputs.connection)
    return 50 * (1 + reflection) / (1 - reflection)


@pytest.mark.parametrize("count", [3, 4, 5])
@pytest.mark.parametrize("device_ohm", DEVICES)
def test_whole_chain_against_gtc(device_ohm, count):
    """GTC 1.5, its own propagation of complex uncertainty; 1e-6 relative.

    With consistent readings the weights' and the conjugate rows' own variation multiplies
    residuals of zero, so holding them fixed is exact.
    """
    inputs = session(device_ohm, count)
    ours = impedance(propagate(inputs), 50.0)
    peer = gtc_impedance(inputs)
    assert ours.value[0] == pytest.approx(complex(GTC.value(peer)), rel=1e-9)
    variance = np.array(GTC.variance(peer)).reshape(2, 2)
    assert ours.covariance()[0] == pytest.approx(variance, rel=1e-6, abs=1e-6 * variance.max())


def test_known_value_of_one_corrected_impedance():
    """120 - j45 ohm behind three standards without connection errors.

    Value computed with GTC 1.5.1 outside this project: u(reflection) 0.008512999 per axis,
    u(R) = u(X) = 2.632645 ohm, uncorrelated.
    """
    inputs = session(120 - 45j, 3)
    known = [Quantity(k.value, k.effects[:2]) for k in inputs.calibration.known]
    calibration = solve(FREQUENCY, inputs.calibration.names, known, inputs.calibration.seen)
    plain = Inputs(calibration, inputs.reading, Quantity(inputs.connection.value))
    reflection = propagate(plain)
    ohm = impedance(reflection, 50.0).covariance()
    assert coverage.standard_uncertainty(reflection.covariance())[0] == pytest.approx(
        [0.008512999, 0.008512999], rel=1e-6
    )
    assert coverage.standard_uncertainty(ohm)[0] == pytest.approx([2.632645] * 2, rel=1e-6)
    assert coverage.correlation(ohm)[0] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("count", [3, 5])
def test_monte_carlo_agrees_where_the_model_is_nearly_linear(count):
    """JCGM 101: both ways ask the same model function; 1 % is six standard errors here."""
    inputs = session(45 - 12j, count)
    linear = impedance(propagate(inputs), 50.0)
    drawn = monte_carlo(inputs, 50.0, np.random.default_rng(3), draws=200_000)
    assert drawn.covariance[0].diagonal() == pytest.approx(
        linear.covariance()[0].diagonal(), rel=0.02
    )
    half = coverage.K_AXIS * coverage.standard_uncertainty(linear.covariance())[0]
    assert drawn.interval[0, 0] == pytest.approx([45 - half[0], 45 + half[0]], abs=0.03 * half[0])
    assert drawn.interval[0, 1] == pytest.approx([-12 - half[1], -12 + half[1]], abs=0.03 * half[1])


H2 = json.loads((Path(__file__).parents[1] / "reference" / "gum_h2.json").read_text())


def test_gum_h2_resistance_and_reactance():
    """JCGM 100:2008, Annex H.2, approach 1: R and X from V, I and phi, correlated by repeats.

    The scatter of repeats as effects: each row's deviation over sqrt(n (n - 1)) is one
    independent effect, and their outer products add up to the covariance of the means.
    """
    volt, milliamp, phi = (np.array(H2["data"][k]) for k in ("V_V", "I_mA", "phi_rad"))
    amp, n = milliamp / 1e3, volt.size
    value = volt.mean() / amp.mean() * np.exp(1j * phi.mean())
    slopes = value * np.array([1 / volt.mean(), -1 / amp.mean(), 1j])
    deviations = np.array([x - x.mean() for x in (volt, amp, phi)]) / np.sqrt(n * (n - 1))
    effects = (Effect(f"scatter {i}", c) for i, c in enumerate(slopes @ deviations))
    z = Quantity(np.array([value]), tuple(effects))
    covariance = z.covariance()
    u_r, u_x = coverage.standard_uncertainty(covariance)[0]
    published, recomputed = H2["published"], H2["recomputed"]
    assert (z.value[0].real, z.value[0].imag) == pytest.approx(
        (published["R"], published["X"]), abs=0.0006
    )
    # printed 0.295 is one digit below the full-precision value
    assert (u_r, u_x) == pytest.approx((published["uR"], published["uX"]), abs=0.001)
    assert (u_r, u_x) == pytest.approx((recomputed["uR"], recomputed["uX"]), rel=1e-6)
    assert coverage.correlation(covariance)[0] == pytest.approx(recomputed["rRX"], rel=1e-6)
    assert coverage.correlation(covariance)[0] == pytest.approx(published["rRX"], abs=0.0006)


def test_gum_h2_without_correlation_is_wrong():
    """The same data with correlations ignored: 2.7 times too large in R (recomputed)."""
    volt, milliamp, phi = (np.array(H2["data"][k]) for k in ("V_V", "I_mA", "phi_rad"))
    amp, n = milliamp / 1e3, volt.size
    value = volt.mean() / amp.mean() * np.exp(1j * phi.mean())
    slopes = value * np.array([1 / volt.mean(), -1 / amp.mean(), 1j])
    u = [x.std(ddof=1) / np.sqrt(n) for x in (volt, amp, phi)]
    effects = (Effect(name, s * d) for name, s, d in zip("VIp", slopes, u, strict=True))
    z = Quantity(np.array([value]), tuple(effects))
    assert coverage.standard_uncertainty(z.covariance())[0] == pytest.approx(
        H2["recomputed"]["ignoring_correlation_u"][:2], rel=1e-4
    )


def gtc_residual(reflection, sizes, connection):
    """An instrument that corrects itself, written again in GTC's arithmetic."""
    d, t, m = (GTC.ucomplex(0, size / np.sqrt(2)) for size in sizes)
    off = reflection - d
    true = off / (1 + t + m * off) - GTC.ucomplex(0, connection)
    return 50 * (1 + true) / (1 - true)


@pytest.mark.parametrize("device_ohm", DEVICES)
def test_self_correcting_instrument_against_gtc(device_ohm):
    """GTC 1.5, its own propagation; 1e-6 relative."""
    shown = from_impedance(np.array([device_ohm]))
    connection = Quantity(np.zeros(1, complex), both_axes("connection", CONNECTION))
    instrument = self_correcting(FREQUENCY, directivity=0.01, source_match=0.03, tracking=0.02)
    reflection = propagate(Inputs(instrument, Quantity(shown), connection))
    ours = impedance(reflection, 50.0)
    peer = gtc_residual(complex(shown[0]), (0.01, 0.02, 0.03), CONNECTION)
    variance = np.array(GTC.variance(peer)).reshape(2, 2)
    assert ours.covariance()[0] == pytest.approx(variance, rel=1e-6, abs=1e-6 * variance.max())


@pytest.mark.parametrize("count", [4, 5, 12])
def test_degrees_of_freedom_and_factors_against_gtc(count):
    """GTC 1.5: its type A estimate, effective degrees of freedom and coverage factors."""
    rng = np.random.default_rng(count)
    sweeps = 0.3 + 0.1j + rng.standard_normal((count, 2)) @ np.array([[0.02], [0.007 + 0.01j]])
    ours = from_repeats(sweeps, "repeats").plus(*both_axes("known", 0.004))
    peer = GTC.type_a.estimate(list(sweeps[:, 0])) + GTC.ucomplex(0, 0.004)
    assert ours.covariance()[0].ravel() == pytest.approx(np.array(GTC.variance(peer)).ravel())
    freedom = degrees_of_freedom(ours)
    assert freedom[0] == pytest.approx(GTC.dof(peer), rel=1e-9)
    interval, region = student(freedom, 0.975), region_factor(freedom)
    assert interval[0] == pytest.approx(GTC.reporting.k_factor(freedom[0]), rel=1e-6)
    assert region[0] ** 2 == pytest.approx(GTC.reporting.k2_factor_sq(freedom[0]), rel=1e-6)
