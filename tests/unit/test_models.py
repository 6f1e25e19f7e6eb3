"""Standards, quantities, lines and values between points."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal import defaults
from rfcal.errors import ArgumentError, CalibrationError
from rfcal.models.cables import CABLES, cable_type
from rfcal.models.interpolation import between_points
from rfcal.models.line import Line, loss_law
from rfcal.models.standards import KINDS, Standard, Tabulated, with_default_uncertainty
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

FREQUENCY = np.array([1e6, 1e8, 1e9, 6e9])
OFFSET = {"offset_delay": 30e-12, "offset_loss": 2e9, "offset_z0": 52.0}
STANDARDS = {
    "open": Standard("open", capacitance=(50e-15, 1e-27, 0.0, 0.0), **OFFSET),
    "short": Standard("short", inductance=(1e-10, 1e-21), **OFFSET),
    "load": Standard("load", 49.0, (1e-10,), (1e-13,), **OFFSET),
}
STEPS = {
    "delay": ("offset_delay", 1e-16),
    "capacitance": ("capacitance", 1e-19),
    "inductance": ("inductance", 1e-15),
    "resistance": ("resistance", 1e-5),
}
MEANINGFUL = [
    *(("open", "delay"), ("open", "capacitance"), ("short", "delay"), ("short", "inductance")),
    *(("load", p) for p in STEPS),
]


@pytest.mark.parametrize(("kind", "parameter"), MEANINGFUL)
def test_effects_go_by_the_slopes(kind, parameter):
    name, step = STEPS[parameter]
    standard = replace(STANDARDS[kind], uncertainty={parameter: step})
    value = getattr(standard, name)

    def moved(by):
        new = (value[0] + by, *value[1:]) if isinstance(value, tuple) else value + by
        return replace(standard, **{name: new}).reflection(FREQUENCY)

    (effect,) = standard.quantity(FREQUENCY, z_ref=50.0).effects
    # a smaller step, and of fourth order
    slope = (8 * (moved(step / 4) - moved(-step / 4)) - (moved(step / 2) - moved(-step / 2))) / 3
    assert effect.change == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize(
    ("kind", "parameter", "deviation"),
    [("short", "inductance", 1.5e-9), ("load", "inductance", 3e-9), ("open", "capacitance", 1e-13)],
)
def test_a_large_stray_has_its_curve_and_a_small_one_none(kind, parameter, deviation):
    """Strays of wire leads at 440 MHz: what is left of two deviations is of third order."""
    standard = Standard(kind, uncertainty={parameter: deviation})
    f = np.array([440e6])
    (effect,) = standard.quantity(f, z_ref=50.0).effects
    for side in (-2.0, 2.0):
        true = replace(standard, **{parameter: side * deviation}).reflection(f)
        left = np.abs(standard.reflection(f) + effect.moved(side) - true)
        assert left < 1.1 * np.abs(2 * effect.change) ** 3
        assert left < 0.3 * np.abs(standard.reflection(f) + side * effect.change - true)
    (small,) = standard.quantity(f / 100, z_ref=50.0).effects
    assert np.all(small.curve == 0)


def test_ideal_standards_are_ideal_in_any_reference():
    assert Standard("open").reflection(FREQUENCY, z_ref=75) == pytest.approx(np.ones(4))
    assert Standard("short").reflection(FREQUENCY, z_ref=75) == pytest.approx(-np.ones(4))
    assert Standard("load", 75.0).reflection(FREQUENCY, z_ref=75) == pytest.approx(np.zeros(4))


def test_uncertainties_add_and_keep_their_names():
    standard = replace(STANDARDS["load"], uncertainty={"reflection": 0.003, "resistance": 0.2})
    quantity = standard.quantity(FREQUENCY, z_ref=50.0, name="mine")
    assert set(quantity.by_source()) == {"mine: residual reflection", "mine: resistance"}
    ends = [replace(standard, resistance=r).reflection(FREQUENCY) for r in (48.9, 49.1)]
    slope = np.abs(ends[1] - ends[0]) / 0.2
    assert quantity.variance() == pytest.approx(0.003**2 + (0.2 * slope) ** 2 / 2, rel=1e-5)


def test_effects_are_what_drawn_parameters_give():
    """The effects, linear in the parameters, against the model itself on drawn parameters."""
    rng = np.random.default_rng(8)
    deviation = {"resistance": 0.3, "inductance": 1e-10, "capacitance": 5e-14, "delay": 2e-12}
    standard = replace(STANDARDS["load"], uncertainty=deviation)
    frequency = np.array([70e6, 1e9])
    off = {name: d * rng.standard_normal((100_000, 1)) for name, d in deviation.items()}
    drawn = replace(
        standard,
        resistance=49.0 + off["resistance"],
        inductance=(1e-10 + off["inductance"],),
        capacitance=(1e-13 + off["capacitance"],),
        offset_delay=30e-12 + off["delay"],
    ).reflection(frequency)
    covariance = standard.quantity(frequency, z_ref=50.0, name="l").covariance()
    for i in range(2):
        found = np.cov(drawn[:, i].real, drawn[:, i].imag)
        assert found == pytest.approx(covariance[i], abs=0.02 * covariance[i].max())


def test_every_kind_has_a_default_uncertainty():
    assert set(defaults.STANDARD) == set(KINDS)
    for ohm in (50.0, 25.0):
        usual = with_default_uncertainty(Standard("load", ohm)).uncertainty
        by_build = {"inductance": 0.7e-9, "capacitance": 1e-13}
        own = {"reflection": 0.002, "resistance": pytest.approx(0.01 * ohm / 3**0.5)}
        assert usual == {**own, **by_build}
    usual = with_default_uncertainty(Standard("open", offset_delay=1e-9)).uncertainty
    assert usual == {**defaults.STANDARD["open"], "delay": pytest.approx(3.3e-12)}
    stated = Standard("load", uncertainty={"resistance": 0.1})
    assert with_default_uncertainty(stated).uncertainty == {
        **{"reflection": 0.002, "resistance": 0.1},
        **by_build,
    }
    with pytest.raises(ArgumentError, match="how a standard is built"):
        Standard("load", build="glued")
    whole = Standard("load", uncertainty={"reflection": 0.0})
    assert with_default_uncertainty(whole).uncertainty == {"reflection": 0.0}


def test_draws_have_the_covariance_that_the_effects_say():
    quantity = Quantity(
        np.array([1 + 1j, 2.0]),
        (
            Effect("a", np.array([0.1 + 0.1j, 0.2j])),
            *both_axes("b", 0.05, per_point=True, rectangular=True),
        ),
    )
    drawn = quantity.draw(np.random.default_rng(1), 100_000)
    for i in range(2):
        found = np.cov(drawn[:, i].real, drawn[:, i].imag)
        assert found == pytest.approx(quantity.covariance()[i], abs=4e-4)
    # what is common to all points moves them together, what is per point does not
    shared = np.cov(drawn[:, 0].imag, drawn[:, 1].imag)[0, 1]
    assert shared == pytest.approx(0.1 * 0.2, abs=4e-4)


def test_rectangular_draws_stay_within_half_a_step():
    step = 0.1
    quantity = Quantity(
        np.zeros(1, complex), both_axes("step", step / np.sqrt(12), rectangular=True)
    )
    drawn = quantity.draw(np.random.default_rng(2), 10_000)
    assert np.abs(drawn.real).max() <= step / 2
    assert np.abs(drawn.real).max() > 0.49 * step


def test_table_is_interpolated_inside_only():
    grid = np.linspace(1e6, 2e6, 11)
    table = Tabulated(grid, np.exp(-1e-6j * grid / 4), uncertainty={"reflection": 0.001})
    middle = np.array([1.234e6])
    assert table.reflection(middle) == pytest.approx(np.exp(-1e-6j * middle / 4), abs=1e-7)
    quantity = table.quantity(middle, z_ref=50.0, name="t")
    assert set(quantity.by_source()) == {"t: residual reflection", "t: interpolation"}
    with pytest.raises(CalibrationError, match="nothing is extrapolated"):
        table.reflection(np.array([2.1e6]))


def test_interpolation_refuses_what_turns_too_fast():
    grid = np.linspace(0, 1, 11)
    slow, fast = np.exp(2.8j * grid), np.exp(6j * grid)
    value, doubt = between_points(np.array([0.55]), grid, slow, what="these")
    assert abs(value[0] - np.exp(2.8j * 0.55)) < doubt[0] < 0.02
    with pytest.raises(CalibrationError, match="turn by 34"):
        between_points(np.array([0.55]), grid, fast, what="these")


def test_half_a_wave_repeats_and_a_quarter_inverts():
    frequency = np.array([146e6])
    line = Line(1.0, velocity_factor=0.66)
    wave = line.wavelength_m(frequency)
    half = line.two_port(frequency, wave / 2)
    quarter = line.two_port(frequency, wave / 4)
    assert half.input_impedance(20 - 30j) == pytest.approx(np.array([20 - 30j]))
    assert quarter.input_impedance(20 - 30j) == pytest.approx(np.array([2500 / (20 - 30j)]))


def test_matched_loss_of_a_line_is_its_table_value():
    line = Line(40.0, conductor_db=0.75, dielectric_db=0.01)
    frequency = np.array([100e6])
    assert line.loss_db_per_100m(frequency) == pytest.approx([8.5])
    z0 = line.impedance(frequency)
    gain = line.two_port(frequency).power_gain(z0)
    assert -10 * np.log10(gain) == pytest.approx([0.4 * 8.5], rel=5e-4)


@pytest.mark.parametrize("skin", [0.0, 1.0])
@pytest.mark.parametrize("losses", [(0.75, 0.01), (0.75, 0.0), (0.0, 0.02), (5.0, 0.1), (0.0, 0.0)])
def test_propagation_holds_the_stated_loss_exactly(losses, skin):
    line, frequency = Line(1.0, 0.66, 75.0, *losses, skin), np.geomspace(1e5, 1e9, 30)
    in_db = line.propagation(frequency).real * 2000 / np.log(10)
    assert in_db == pytest.approx(line.loss_db_per_100m(frequency), rel=1e-9, abs=1e-12)


def test_loss_law_takes_no_negative_term():
    """A table that falls below the square root of frequency: least squares would go negative."""
    conductor, dielectric = loss_law([(10, 3.0), (100, 9.0), (1000, 25.0)])
    assert dielectric == 0
    assert 0.8 < conductor < 1.0
    assert loss_law([(100.0, 7.0)]) == pytest.approx((0.7, 0.0))


@pytest.mark.parametrize("name", CABLES)
def test_cables_by_name_follow_their_tables(name):
    cable = CABLES[name]
    line = cable.line(100.0)
    for megahertz, loss in cable.loss:
        fitted = float(line.loss_db_per_100m(megahertz * 1e6))
        assert fitted == pytest.approx(loss, rel=0.12)
    assert 0.6 < cable.velocity_factor < 1
    assert cable.source


@pytest.mark.parametrize(
    ("spelt", "kind"),
    [
        ("rg58", "RG-58C"),
        ("RG 58 A/U", "RG-58A"),
        ("Rg213", "RG-213"),
        ("foam 10mm", "foam 10 mm"),
        ("house 3", "house 3"),
    ],
)
def test_a_type_of_cable_is_known_however_it_is_spelt(spelt, kind):
    assert cable_type(spelt) == kind


def test_a_cable_of_no_known_letter_is_as_doubtful_as_its_tables_differ():
    for other in ("RG-58A", "RG-58C"):
        there = CABLES[other].line(1.0).loss_db_per_100m([30e6, 100e6, 450e6])
        taken = CABLES[cable_type("RG-58")]
        own = taken.line(1.0).loss_db_per_100m([30e6, 100e6, 450e6])
        assert np.all(np.abs(there / own - 1) < 2 * taken.loss_doubt)
