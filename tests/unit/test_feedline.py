"""A line's properties from its two sweeps: random lines with noise, and what cannot be told."""

import numpy as np
import pytest
from scipy.special import jve

from rfcal.errors import CalibrationError
from rfcal.feedline.fit import FarEnds, fit_line
from rfcal.feedline.measure import measure_line
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.uncertainty.quantity import Quantity, both_axes

WIDE = np.linspace(1e6, 160e6, 401)
BAND = np.linspace(45e6, 57e6, 201)


def sweeps(line, frequency, noise=0.0, seed=0):
    rng = np.random.default_rng(seed)
    through = line.two_port(frequency).bilinear(50.0)
    for end in (1.0, -1.0):
        off = rng.standard_normal((2, frequency.size))
        yield through.apply(np.full(frequency.size, end, complex)) + noise * (off[0] + 1j * off[1])


def measured(frequency, far_open, far_short=None, **given):
    """The line by one sweep or both."""
    ends = {1.0: far_open, -1.0: far_short}
    swept = {
        end: sweep if isinstance(sweep, Quantity) else Quantity(sweep)
        for end, sweep in ends.items()
        if sweep is not None
    }
    into = {key: given.pop(key) for key in ("z_ref", "far_end") if key in given}
    return measure_line(FarEnds(frequency, swept, **into), **given)


def random_line(seed):
    rng = np.random.default_rng(1000 + seed)
    return Line(
        rng.uniform(8, 60),
        rng.uniform(0.66, 0.9),
        rng.uniform(46, 54),
        rng.uniform(0.2, 1.2),
        0.005,
    )


@pytest.mark.parametrize("seed", range(25))
def test_delay_and_loss_of_random_lines_with_noise(seed):
    """Delay within 0.5 %, loss within 3 % or 0.01 dB, impedance within 1 %."""
    line = random_line(seed)
    found = measured(WIDE, *sweeps(line, WIDE, 0.001, seed), velocity_factor=line.velocity_factor)
    delay = line.length_m / line.velocity_factor / SPEED_OF_LIGHT
    assert found.delay_s == pytest.approx(delay, rel=0.005)
    assert found.line.length_m == pytest.approx(line.length_m, rel=0.005)
    assert found.line.z0 == pytest.approx(line.z0, rel=0.01)
    loss = [float(v.loss_db_per_100m(100e6)) * v.length_m / 100 for v in (line, found.line)]
    assert loss[1] == pytest.approx(loss[0], rel=0.03, abs=0.01)
    assert abs(found.delay_s - delay) < 5 * found.standard_uncertainty["delay"] + 1e-14
    assert found.residual == pytest.approx(0.001 * np.sqrt(2), rel=0.2)


def test_a_narrow_band_far_from_zero():
    line = Line(14.2, 0.83, 48.6, 0.9)
    found = measured(BAND, *sweeps(line, BAND, 0.0005), velocity_factor=0.83)
    assert found.line.length_m == pytest.approx(14.2, rel=0.002)
    assert found.line.z0 == pytest.approx(48.6, rel=0.005)


def test_length_known_and_velocity_factor_wanted():
    line = Line(20.0, 0.8, 50.0, 0.6)
    found = measured(WIDE, *sweeps(line, WIDE), length_m=20.0)
    assert found.line.velocity_factor == pytest.approx(0.8, rel=1e-6)
    assert found.line.loss_db_per_100m(50e6) == pytest.approx(line.loss_db_per_100m(50e6), rel=1e-4)


def test_a_line_without_loss_has_none_below_zero():
    found = measured(WIDE, *sweeps(Line(10.0, 0.8, 52.0), WIDE, 0.0005), velocity_factor=0.8)
    assert found.line.conductor_db >= 0
    assert found.line.dielectric_db >= 0
    assert found.line.loss_db_per_100m(100e6) < 0.1


def test_a_line_faster_than_light_is_refused():
    with pytest.raises(CalibrationError, match="faster than light"):
        measured(WIDE, *sweeps(Line(10.0), WIDE), length_m=20.0)


def test_ambiguous_lengths_are_refused_with_the_cure():
    line = Line(400.0, 0.66)
    coarse = np.linspace(1e6, 160e6, 101)
    with pytest.raises(CalibrationError, match="steps below"):
        measured(coarse, *sweeps(line, coarse), velocity_factor=0.66)
    narrow = np.linspace(144e6, 144.2e6, 21)
    with pytest.raises(CalibrationError, match="wider span"):
        measured(narrow, *sweeps(Line(30.0, 0.8, 50.0, 0.5), narrow, 0.01), velocity_factor=0.8)
    with pytest.raises(CalibrationError, match="five or more"):
        measured(WIDE[:3], *sweeps(line, WIDE[:3]), velocity_factor=0.66)


@pytest.mark.parametrize("length", [170.0, 290.0, 400.0])
def test_a_stated_length_settles_what_wide_steps_leave_open(length):
    """The round trip turns by more than half a turn from point to point."""
    coarse = np.linspace(1e6, 160e6, 201)
    for seed, velocity in enumerate((0.66, 0.8, 0.88)):
        line = Line(length, velocity, 51.0, 0.3, 0.001)
        found = measured(coarse, *sweeps(line, coarse, 0.0005, seed), length_m=length)
        assert found.line.velocity_factor == pytest.approx(velocity, rel=1e-3)


@pytest.mark.parametrize(("length", "velocity", "points"), [(257, 0.784, 160), (240, 0.837, 80)])
def test_a_stated_length_settles_which_of_lines_that_look_alike(length, velocity, points):
    """Steps that divide the first frequency fold exactly, and no usual cable is below 0.6."""
    steps = np.linspace(1e6, 160e6, points)
    far = sweeps(Line(length, velocity, 51.0, 0.4, 0.002), steps, 0.0005, 4)
    found = measured(steps, *far, length_m=length)
    assert found.line.velocity_factor == pytest.approx(velocity, rel=1e-3)


def test_two_factors_of_one_length_are_told():
    """A length by which both lines are of usual cable, in steps that fold."""
    steps = np.linspace(1e6, 160e6, 160)
    far = sweeps(Line(450.0, 0.85, 51.0, 0.1), steps, 0.0005, 4)
    with pytest.raises(
        CalibrationError, match=r"velocity factor of 0.* alike .at the stated length"
    ):
        measured(steps, *far, length_m=450.0)


def test_a_lossy_line_high_up_is_not_taken_for_exchanged():
    """Skin effect takes two radians of its round trip, which the phase at zero must not keep."""
    line, high = Line(85.0, 0.66, 50.0, 1.4), np.linspace(100e6, 200e6, 401)
    found = measured(high, *sweeps(line, high, 0.0005), velocity_factor=0.66)
    assert found.line.length_m == pytest.approx(85, abs=0.1)


def test_exchanged_sweeps_are_refused():
    far_open, far_short = sweeps(Line(40.0, 0.85, 50.0, 0.8), WIDE, 0.0005)
    with pytest.raises(CalibrationError, match="exchanged"):
        measured(WIDE, far_short, far_open, velocity_factor=0.85)
    with pytest.raises(CalibrationError, match="exchanged"):
        measured(WIDE, far_short, velocity_factor=0.85)


@pytest.mark.parametrize("z0", [12.5, 75.0, 600.0])
@pytest.mark.parametrize("end", [1.0, -1.0])
def test_one_end_of_a_line_far_from_the_reference(z0, end):
    """Its phase in 50 ohm runs in steps, not straight: the start is sought in its own impedance."""
    for frequency in (WIDE, BAND):
        line = Line(20.0, 0.9, z0, 0.2, 0.002)
        pair = dict(zip((1.0, -1.0), sweeps(line, frequency, 0.0005), strict=True))
        only = {"far_open" if end > 0 else "far_short": pair[end]}
        found = measured(
            frequency, only.get("far_open"), only.get("far_short"), velocity_factor=0.9
        )
        assert found.line.length_m == pytest.approx(20.0, abs=0.005)
        assert found.line.z0 == pytest.approx(z0, rel=0.005)


@pytest.mark.parametrize("skin", [0.0, 1.0])
def test_bands_agree_on_one_line(skin):
    """Reactance inside the conductors slows a line at low frequencies; the delay stays one."""
    line = Line(31.0, 0.66, 51.0, 0.6, 0.003, skin)
    delay = line.length_m / line.velocity_factor / SPEED_OF_LIGHT
    for band in (np.linspace(7e6, 30e6, 401), np.linspace(140e6, 160e6, 401), WIDE):
        found = measured(band, *sweeps(line, band, 0.0005), velocity_factor=0.66)
        assert abs(found.delay_s - delay) < 3 * found.standard_uncertainty["delay"]
        assert found.fits


def test_a_line_with_a_fault_fits_no_uniform_line():
    first, second = Line(15.0, 0.66, 51.0, 0.6), Line(16.0, 0.66, 51.0, 0.6)
    chain = first.two_port(WIDE) @ TwoPort.shunt(np.full(401, 1 / 200)) @ second.two_port(WIDE)
    ends = (chain.bilinear().apply(np.full(401, complex(end))) for end in (1.0, -1.0))
    assert not measured(WIDE, *ends, velocity_factor=0.66).fits


@pytest.mark.parametrize("band", [(14e6, 14.35e6, 71), (50e6, 52e6, 101), (144e6, 146e6, 101)])
def test_one_sweep_of_a_narrow_band_is_right_or_refused(band):
    """Impedance and delay can be traded there: 5 m of 50 ohm, or 3 m of 88 ohm."""
    frequency, line = np.linspace(*band), Line(5.0, 0.66, 50.0, 0.7)
    far_open, far_short = (
        Quantity(sweep, both_axes(name, 0.002))
        for name, sweep in zip(("open", "short"), sweeps(line, frequency, 0.0005), strict=True)
    )
    both = measured(frequency, far_open, far_short, velocity_factor=0.66)
    assert both.line.length_m == pytest.approx(5.0, abs=0.05)
    for pair in ((far_open, None), (None, far_short)):
        try:
            found = measured(frequency, *pair, velocity_factor=0.66)
        except CalibrationError as error:
            assert "explain it alike" in str(error)  # noqa: PT017
        else:
            assert abs(found.line.length_m - 5.0) < 0.1


def test_exchanged_sweeps_of_a_narrow_band_are_refused():
    for band in ((10.1e6, 10.15e6, 21), (70e6, 70.5e6, 101), (144e6, 146e6, 101)):
        frequency = np.linspace(*band)
        far_open, far_short = sweeps(Line(5.0, 0.66, 50.0, 0.7), frequency, 0.0005)
        with pytest.raises(CalibrationError, match="exchanged"):
            measured(frequency, far_short, far_open, velocity_factor=0.66)


@pytest.mark.parametrize(("low", "high", "length"), [(28e6, 30e6, 45.7), (430e6, 440e6, 16.5)])
def test_exchanged_sweeps_of_a_lossy_line_are_refused_too(low, high, length):
    """Much loss would let the reactance inside its conductors turn for what was exchanged."""
    frequency = np.linspace(low, high, 121)
    line = Line(length, 0.75, 50.5, 2.5 if low < 1e8 else 1.6, 0.0)
    far_open, far_short = sweeps(line, frequency, 0.0005)
    with pytest.raises(CalibrationError, match="exchanged"):
        measured(frequency, far_short, far_open, velocity_factor=0.75, far_end=0.02)
    found = measured(frequency, far_open, far_short, velocity_factor=0.75, far_end=0.02)
    assert found.line.length_m == pytest.approx(length, abs=0.05)


def test_steps_too_wide_for_the_length_are_said_to_be():
    frequency, line = np.linspace(1e6, 160e6, 81), Line(60.0, 0.66, 50.0, 0.6)
    with pytest.raises(CalibrationError, match="steps"):
        measured(frequency, *sweeps(line, frequency), velocity_factor=0.66)


def thin_line(frequency, length, z0, radius, end):
    """Reflection of a line with a round copper centre, its internal impedance by Bessel functions.

    S. A. Schelkunoff, Bell System Technical Journal 13 (1934), 532.
    """
    w, conductivity = 2 * np.pi * frequency, 5.8e7
    depth = np.sqrt(2 / (w * 4e-7 * np.pi * conductivity))
    k, speed = (1 - 1j) / depth, 0.66 * SPEED_OF_LIGHT
    centre = k / (2 * np.pi * radius * conductivity) * jve(0, k * radius) / jve(1, k * radius)
    screen = (1 + 1j) / (conductivity * depth) / (2 * np.pi * 3.4 * radius)
    series = 1j * w * z0 / speed + centre + screen
    shunt = 1j * w / (z0 * speed) * (1 - 2e-4j)
    line = TwoPort.line(np.sqrt(series / shunt), np.sqrt(series * shunt) * length)
    return line.bilinear().apply(np.full(frequency.size, end, complex))


@pytest.mark.parametrize("band", [(1e6, 30e6), (3e6, 30e6), (1e6, 160e6)])
def test_delay_of_a_thin_cable_whose_skin_effect_is_not_yet_developed(band):
    rng, pulls = np.random.default_rng(16), []
    frequency = np.linspace(*band, 301)
    for _ in range(12):
        length, radius = rng.uniform(8, 40), rng.uniform(0.1e-3, 0.5e-3)
        z0 = rng.uniform(48, 53)
        noise = 0.0005 * rng.standard_normal((2, 2, frequency.size))
        ends = [
            thin_line(frequency, length, z0, radius, end) + noise[k, 0] + 1j * noise[k, 1]
            for k, end in enumerate((1.0, -1.0))
        ]
        found = measured(frequency, *ends, velocity_factor=0.66)
        delay = length / 0.66 / SPEED_OF_LIGHT
        pulls.append((found.delay_s - delay) / found.standard_uncertainty["delay"])
    assert np.max(np.abs(pulls)) < 2
    assert np.sqrt(np.mean(np.square(pulls))) > 0.5


def test_a_line_that_lets_nothing_back_is_no_start_of_a_fit():
    frequency = np.linspace(50e6, 51e6, 11)
    seen = Quantity(np.full(11, 0.3 + 0.1j), both_axes("all", 0.001))
    hopeless = Line(1000.0, 0.66, 50.0, 5e3)
    with pytest.raises(CalibrationError, match="not those of a line"):
        fit_line(hopeless, FarEnds(frequency, {1.0: seen, -1.0: seen}, 50.0, 0.002))
