"""Reflection, two-ports and lines against worked examples of textbooks, ngspice and the trade.

Each entry of `textbook_lines.json` names its own source and says what was read, what is a value
from memory, and what was recomputed.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.maths import reflection as refl
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line

CASES = json.loads(
    (Path(__file__).parents[1] / "reference" / "textbook_lines.json").read_text("utf-8")
)


def cases(kind):
    """The entries of one kind, named by their source."""
    return [pytest.param(c, id=c["id"]) for c in CASES if c["kind"] == kind]


def agree(case, **found):
    """Each figure against its printed value, and against the full-precision one."""
    assert set(found) >= set(case["values"])
    for name, figure in case["values"].items():
        assert found[name] == pytest.approx(figure["recomputed"], rel=1e-8, abs=1e-8), name
        if "published" in figure:
            assert found[name] == pytest.approx(figure["published"], abs=figure["tolerance"]), name


def number(case, key):
    """A complex number of an entry, as an array of one frequency."""
    return np.array([complex(*case[key])])


@pytest.mark.parametrize("case", cases("reflection"))
def test_reflection_of_an_impedance(case):
    seen = refl.from_impedance(number(case, "load_ohm"), case["z_ref_ohm"])
    agree(
        case,
        magnitude=abs(seen[0]),
        degrees=np.degrees(np.angle(seen[0])),
        swr=refl.swr(seen)[0],
        return_loss_db=refl.return_loss_db(seen)[0],
    )


@pytest.mark.parametrize("case", cases("impedance"))
def test_impedance_of_a_reflection(case):
    z = refl.to_impedance(number(case, "reflection"), case["z_ref_ohm"])[0]
    agree(case, r_ohm=z.real, x_ohm=z.imag)


def line_of(case):
    return TwoPort.line(number(case, "z0_ohm"), number(case, "turn"))


@pytest.mark.parametrize("case", cases("line"))
def test_input_impedance_and_loss_of_a_line(case):
    """The same answer by the chain matrix and by the map of reflection."""
    line = line_of(case)
    load = np.array([np.inf]) if case["load_ohm"] is None else number(case, "load_ohm")
    z = refl.to_impedance(line.bilinear(75.0).apply(refl.from_impedance(load, 75.0)), 75.0)
    found = {"r_ohm": z[0].real, "x_ohm": z[0].imag}
    if case["load_ohm"] is not None:
        assert z == pytest.approx(line.input_impedance(load), rel=1e-10)
        found["loss_db"] = -10 * np.log10(line.power_gain(load)[0])
    agree(case, **found)


@pytest.mark.parametrize("case", cases("along"))
def test_voltage_and_current_along_a_line(case):
    z0, turn, load = (number(case, key) for key in ("z0_ohm", "turn", "load_ohm"))
    first = TwoPort.line(z0, turn * case["part"])
    rest = TwoPort.line(z0, turn * (1 - case["part"]))
    seen = (first @ rest).input_impedance(load)
    current_in = case["source_volt"] / (case["source_ohm"] + seen)
    voltage_in = current_in * seen
    # V1 = a V2 + b I2 and V2 = Z2 I2, with Z2 what is seen at that place
    there = rest.input_impedance(load)
    current = voltage_in / (first.a * there + first.b)
    agree(
        case,
        input_volt=abs(voltage_in[0]),
        input_volt_degrees=np.degrees(np.angle(voltage_in[0])),
        input_milliamp=1e3 * abs(current_in[0]),
        input_amp_degrees=np.degrees(np.angle(current_in[0])),
        volt=abs(current[0] * there[0]),
        milliamp=1e3 * abs(current[0]),
        amp_degrees=np.degrees(np.angle(current[0])),
    )


def ladder(series, shunt, sections):
    """A line of one unit as equal pi sections of lumped impedance and admittance."""
    half, whole = TwoPort.shunt(shunt / sections / 2), TwoPort.series(series / sections)
    chain = section = half @ whole @ half
    for _ in range(sections - 1):
        chain = chain @ section
    return chain


@pytest.mark.parametrize("case", cases("rlgc"))
def test_line_constants_by_a_ladder_of_lumped_parts(case):
    """Z0 and propagation of a short ladder's own chain matrix are those of the line.

    Five hundred sections of a hundredth of a metre or kilometre leave less than 1e-8.
    """
    short, sections = 0.01, 500
    chain = ladder(
        short * number(case, "series_ohm"), short * number(case, "shunt_siemens"), sections
    )
    z0 = np.sqrt(chain.b / chain.c)[0]
    propagation = np.arcsinh(np.sqrt(chain.b * chain.c))[0] / short
    agree(
        case,
        z0_re=z0.real,
        z0_im=z0.imag,
        z0_size=abs(z0),
        z0_degrees=np.degrees(np.angle(z0)),
        attenuation=propagation.real,
        phase=propagation.imag,
    )


def test_ladder_approaches_the_line_with_the_square_of_its_sections():
    """15.24 m of the ARRL Antenna Compendium vol. 6 line at 28.8 MHz, 43 ohm + 167 nH behind it.

    Source: ngspice 39.3, a ladder of 400 pi sections, run outside this project: within 0.04 ohm,
    the error falling with the square of the number of sections.
    """
    case = next(c for c in CASES if c["id"] == "compendium 28.8 MHz")
    series, shunt = number(case, "series_ohm"), number(case, "shunt_siemens")
    load = np.array([43 + 2j * np.pi * 28.8e6 * 167e-9])
    line = TwoPort.line(np.sqrt(series / shunt), np.sqrt(series * shunt) * 15.24)
    exact = line.input_impedance(load)
    coarse, fine = (
        abs(ladder(15.24 * series, 15.24 * shunt, n).input_impedance(load) - exact)[0]
        for n in (200, 400)
    )
    assert fine < 0.04
    assert coarse / fine == pytest.approx(4, rel=0.02)


@pytest.mark.parametrize("case", cases("slotted line"))
def test_load_from_a_standing_wave(case):
    """At a minimum the reflection is negative and real; the line between is taken away."""
    line = TwoPort.line(np.array([case["z0_ohm"]]), 1j * case["minimum_rad"])
    at_minimum = np.array([-(case["swr"] - 1) / (case["swr"] + 1)])
    load = line.bilinear(case["z0_ohm"]).correct(at_minimum)
    assert refl.swr(load)[0] == pytest.approx(case["swr"])
    z = refl.to_impedance(load, case["z0_ohm"])[0]
    agree(case, r_ohm=z.real, x_ohm=z.imag)


@pytest.mark.parametrize("case", cases("open and short"))
def test_line_known_by_its_open_and_shorted_ends(case):
    zoc, zsc = number(case, "open_ohm"), number(case, "short_ohm")
    # Zsc = z0 tanh(turn), Zoc = z0 / tanh(turn)
    z0 = np.sqrt(zoc * zsc)
    turn = np.arctanh(zsc / z0)
    line = TwoPort.line(z0, turn)
    ends = refl.to_impedance(line.bilinear().apply(np.array([[1.0], [-1.0]])))
    assert ends == pytest.approx(np.array([zoc, zsc]), rel=1e-9)
    found = {
        "z0_size": abs(z0[0]),
        "z0_degrees": np.degrees(np.angle(z0[0])),
        "loss_db": 20 * np.log10(np.exp(turn.real[0])),
        "turn_degrees": np.degrees(turn.imag[0]) % 180,
    }
    if "seen_ohm" in case:
        seen = refl.from_impedance(number(case, "seen_ohm"))
        z = refl.to_impedance(line.bilinear().correct(seen))[0]
        found |= {"r_ohm": z.real, "x_ohm": z.imag}
    agree(case, **found)


@pytest.mark.parametrize("matched_db", [0.5, 1.0, 3.0])
def test_loss_with_standing_waves_on_a_line_of_real_impedance(matched_db):
    """The handbook formula, exact for a real Z0 only (value from memory, widely printed)."""
    a = 10 ** (matched_db / 10)
    size = np.array([0.0, 0.2, 1 / 3, 0.5, 9 / 11])
    total_db = 10 * np.log10((a**2 - size**2) / (a * (1 - size**2)))
    for angle in (0.0, 1.1, 2.5):
        load = refl.to_impedance(size * np.exp(1j * angle))
        for phase in (0.3, 2.0):
            line = TwoPort.line(50.0, matched_db * np.log(10) / 20 + 1j * phase)
            assert -10 * np.log10(line.power_gain(load)) == pytest.approx(total_db, abs=1e-9)


# Facts of the trade about one feed line of solid polyethylene at 146 MHz.
MHZ_146 = np.array([146e6])


def feed_line(loss_db_per_100m=0.0):
    return Line(0.9144, velocity_factor=0.66, conductor_db=loss_db_per_100m / np.sqrt(146))


def test_length_of_a_feed_line_in_wavelengths():
    """Common practice, no source: 0.9144 m at velocity factor 0.66 is 0.675 wavelengths."""
    line, device = feed_line(), np.array([30 - 20j])
    wave = line.wavelength_m(MHZ_146)
    assert line.length_m / wave[0] == pytest.approx(0.675, abs=0.0005)
    # half a wavelength repeats the load, so the line acts as 0.175 wavelengths
    seen = line.two_port(MHZ_146).input_impedance(device)
    short = line.two_port(MHZ_146, line.length_m - wave / 2).input_impedance(device)
    assert seen == pytest.approx(short)


@pytest.mark.parametrize("loss_db_per_100m", [0.0, 5.0, 10.0])
def test_capacitive_device_reads_inductive_through_its_feed_line(loss_db_per_100m):
    """Common practice, no source: 1.11 - j16.8 ohm reads inductive, close to +j50 ohm."""
    line = feed_line(loss_db_per_100m).two_port(MHZ_146)
    seen = line.input_impedance(np.array([1.11 - 16.8j]))[0]
    assert 0 < seen.real < 5
    assert seen.imag == pytest.approx(50, abs=3)


@pytest.mark.parametrize(("velocity_factor", "length_m"), [(0.66, 3.508), (0.85, 4.518)])
def test_quarter_wave_at_14_1_mhz(velocity_factor, length_m):
    """Common practice, no source: a quarter of a wave, shorted at its end, reads open."""
    line, frequency = Line(length_m, velocity_factor), np.array([14.1e6])
    assert line.wavelength_m(frequency)[0] / 4 == pytest.approx(length_m, abs=0.0005)
    assert line.two_port(frequency).bilinear().apply(-1.0) == pytest.approx(1, abs=1e-3)


def test_error_of_a_few_ohm_near_the_edge_of_the_chart():
    """Common practice, no source: 4.9 ohm beside |Z| = 16.8 ohm is an error of 29 %."""
    true = 1.11 - 16.8j
    reflection = refl.from_impedance(true)
    assert abs(reflection) > 0.95
    assert abs(true) == pytest.approx(16.8, abs=0.05)
    # the error of the reflection that makes it, whichever way it points
    error = 4.9 / abs(refl.impedance_derivative(reflection))
    around = refl.to_impedance(reflection + error * np.exp(2j * np.pi * np.arange(36) / 36))
    assert np.sqrt(np.mean(abs(around - true) ** 2)) / abs(true) == pytest.approx(0.29, abs=0.01)
