"""A part in a record: keys, answer first on every face, and what is refused."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import chdtri

from rfcal.defaults import FALSE_ALARM
from rfcal.errors import RecordError
from rfcal.record.job.compute import compute
from rfcal.report.page import output_files
from rfcal.report.summary import summary_lines

pytestmark = pytest.mark.usefixtures("small")

RECORD = """format = 1
[record]
title = "a part"
[analyzer]
noise = 0.0005
residual_directivity = 0.004
residual_source_match = 0.005
residual_tracking = 0.005
[[measurement]]
name = "part"
reading = "part.s1p"
answer_mhz = 10.0
[[component]]
measurement = "part"
"""
FREQUENCY = np.linspace(1e6, 100e6, 100)


def recorded(folder, impedance, *, said="", frequency=FREQUENCY):
    reflection = (impedance - 50) / (impedance + 50)
    noise = np.random.default_rng(3).normal(scale=0.0005, size=(2, frequency.size))
    reflection = reflection + noise[0] + 1j * noise[1]
    rows = [
        f"{f:.0f} {r.real:.6f} {r.imag:.6f}" for f, r in zip(frequency, reflection, strict=True)
    ]
    (folder / "part.s1p").write_text("# HZ S RI R 50\n" + "\n".join(rows))
    (folder / "record.toml").write_text(RECORD + said)
    return folder


def test_a_part_shares_the_one_chance_of_a_false_alarm(tmp_path):
    w = 2 * np.pi * FREQUENCY
    impedance = 2 + 1j * w * 1e-6
    (part,) = compute(recorded(tmp_path, impedance)).parts
    fit = part.verdict.fits[0]
    assert fit.sweep.chance == FALSE_ALARM / 2  # the device is asked whether it is passive
    # what half of the whole chance leaves is no longer significant
    share = float(chdtri(fit.freedom, 0.75 * FALSE_ALARM))
    assert not replace(fit, chi_square=share).significant


def two_port(file, s21):
    rows = zip(FREQUENCY, s21.real, s21.imag, strict=True)
    row = "{0:.0f} 0 0 {1:.7f} {2:.7f} {1:.7f} {2:.7f} 0 0".format
    file.write_text("# HZ S RI R 50\n" + "\n".join(row(*values) for values in rows))


def between_ports(folder, *, method="series-through", said="", pads=0.0):
    """A choke of 3 kohm, 60 uH and 3 pF on lines of half a turn, and what strays beside it."""
    w, way = 2 * np.pi * FREQUENCY, 0.95 * np.exp(-1j * FREQUENCY / 3e7)
    choke = 1 / (1 / 3000 + 1j * w * 3e-12 + 1 / (1j * w * 60e-6))
    stray, wire = 1j * w * pads, 1j * w * 5e-9
    for name, z in (
        ("part", wire + 1 / (stray + 1 / choke)),
        ("open", wire + 1 / (stray + 1e-12)),
        ("short", wire),
        ("through", 0 * w),
    ):
        two_port(folder / f"{name}.s2p", way * 100 / (100 + z))
    text = RECORD.replace("part.s1p", "part.s2p")
    ports = f'method = "{method}"\nthrough = "through.s2p"\n'
    (folder / "record.toml").write_text(text + ports + said)
    return folder


FIXTURE = 'fixture_open = "open.s2p"\nfixture_short = "short.s2p"\n'


def coil(frequency=FREQUENCY, loss=1.0):
    w = 2 * np.pi * frequency
    wire = 1j * w * 2.2e-6 + loss * (1 + 1j) * np.sqrt(frequency / 10e6)
    return 1 / (1j * w * 2e-12 + 1 / wire)


def test_a_coil_that_is_named_coil_is_called_so_once(tmp_path):
    bent = recorded(tmp_path, coil()) / "record.toml"
    bent.write_text(bent.read_text().replace('"part"', '"Coil 2"'))
    assert summary_lines(compute(tmp_path))[1].startswith("Coil 2: 2.")


def test_the_part_comes_first_and_alike_on_every_face(tmp_path):
    results = compute(recorded(tmp_path, coil(), said="temperature_c = 21.0\n"))
    first = summary_lines(results)[1]
    assert first.startswith("part, a coil, at 21 °C: 2.")
    for word in ("µH ± ", "Q above ", "at 10 MHz", "resonates with itself at "):
        assert word in first
    files = output_files(results)
    page = files["report.html"].decode()
    assert page.index("a coil, at 21 °C") < page.index("part at 10 MHz")
    told = json.loads(b"".join(files["results.json"]))["components"][0]
    assert told["answer"] in first
    assert told["answer"] in page
    assert told["model"] == "coil"
    assert told["values"]["inductance_h"]["low"] < 2.2e-6 < told["values"]["inductance_h"]["high"]
    assert len(told["equivalents"]["q"]["value"]) == FREQUENCY.size


@pytest.mark.parametrize(
    ("impedance", "code"),
    [
        (coil(FREQUENCY)[:4], "part-points"),
        (coil() + 200 * (FREQUENCY > 50e6), "part-misfit"),
    ],
)
def test_where_no_circuit_holds_no_value_is_invented(tmp_path, impedance, code):
    frequency = FREQUENCY[: impedance.size]
    folder = recorded(tmp_path, impedance, frequency=frequency)
    text = (folder / "record.toml").read_text().replace("answer_mhz = 10.0\n", "")
    (folder / "record.toml").write_text(text)
    results = compute(folder)
    assert code in [finding.code for finding in results.findings]
    assert "no values" in summary_lines(results)[1]
    assert not results.parts[0].verdict.figures


def test_a_capacitor_below_its_resonance_says_that_it_is_not_seen(tmp_path):
    w = 2 * np.pi * FREQUENCY
    results = compute(recorded(tmp_path, 0.2 + 1j * w * 2e-9 + 1 / (1j * w * 100e-12)))
    assert "part-resonance" in [finding.code for finding in results.findings]
    assert "resonates" not in summary_lines(results)[1]


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ('[[component]]\nmeasurement = "other"\n', "'other' is none of"),
        ('[[component]]\nmeasurement = "part"\n', "is a [[component]] already"),
        ('model = "diode"\n', "'diode' is none of"),
        ("temperature_c = -300.0\n", "-300 is not at least -273.15"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, said, sentence):
    with pytest.raises(RecordError) as refusal:
        compute(recorded(tmp_path, coil(), said=said))
    assert sentence in str(refusal.value)


def test_a_choke_between_two_ports_is_told_with_its_band_and_a_caution(tmp_path):
    results = compute(between_ports(tmp_path))
    said = summary_lines(results)
    assert "resonates at 11.8" in said[1] or "resonates at 11.9" in said[1]
    assert "measured series-through between two ports" in said[2]
    assert "surely above 1000 ohm, as a common-mode choke wants, from 3 to 51" in said[3]
    assert "part-heat" in [finding.code for finding in results.findings]
    assert not results.devices
    page = output_files(results)["report.html"].decode()
    assert said[3].strip()[4:] in page


def test_a_fixture_is_taken_away_and_its_share_is_told(tmp_path):
    results = compute(between_ports(tmp_path, said=FIXTURE, pads=1e-12))
    part = results.parts[0]
    capacitance = part.verdict.figures["capacitance"]
    assert capacitance.low[0] < 3e-12 < capacitance.high[0] < 3.5e-12
    # |Z| w C of 1 pF across the choke
    told = "the fixture had added 19 % of |Z| at 10 MHz: it has 5 nH in series and 1 pF across"
    assert told in "\n".join(summary_lines(results))


def test_what_is_mostly_fixture_has_no_values(tmp_path):
    results = compute(between_ports(tmp_path, said=FIXTURE, pads=200e-12))
    assert "part-fixture" in [finding.code for finding in results.findings]
    assert "no values" in summary_lines(results)[1]


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ('fixture_open = "open.s2p"\n', "nothing without fixture_short"),
        ('fixture_short = "short.s2p"\n', "nothing without fixture_open"),
        ('[[match]]\nmeasurement = "part"\n', "there is no [[measurement]] to match"),
    ],
)
def test_keys_of_two_ports_that_do_not_go_together_are_refused(tmp_path, said, sentence):
    with pytest.raises(RecordError) as refusal:
        compute(between_ports(tmp_path, said=said))
    assert sentence in str(refusal.value)


def test_a_through_belongs_to_two_ports_and_two_ports_to_a_through(tmp_path):
    with pytest.raises(RecordError, match="no meaning for a part at one port"):
        compute(recorded(tmp_path, coil(), said='through = "through.s2p"\n'))
    with pytest.raises(RecordError, match="through: this key is missing"):
        compute(recorded(tmp_path, coil(), said='method = "shunt-through"\n'))


def test_a_one_port_fixture_is_taken_away_too(tmp_path):
    w = 2 * np.pi * FREQUENCY
    stray, wire = 1j * w * 2e-12, 1j * w * 8e-9
    for end, z in (
        ("open", wire + 1 / stray),
        ("short", wire),
        ("load", wire + 1 / (stray + 0.02)),
    ):
        recorded(tmp_path, z)
        (tmp_path / "part.s1p").rename(tmp_path / f"{end}.s1p")
    files = FIXTURE.replace("s2p", "s1p") + 'fixture_load = "load.s1p"\n'
    recorded(tmp_path, wire + 1 / (stray + 1 / coil()), said=files)
    figure = compute(tmp_path).parts[0].verdict.figures["self_capacitance"]
    assert figure.low[0] < 2e-12 < figure.high[0] < 2.6e-12


def series(r, henry, farad):
    w = 2 * np.pi * FREQUENCY
    return r + 1j * w * henry + 1 / (1j * w * farad)


@pytest.mark.parametrize(
    ("impedance", "said", "code"),
    [
        (series(-5, 1e-9, 100e-12), 'model = "capacitor"\n', "part-negative"),
        (series(3, 5e-6, 20e-9), "", "part-outside"),
        (
            1 / (5e-5 + 1 / series(0, 2.2e-6, 1e3) + 2j * np.pi * FREQUENCY * 2e-12),
            "",
            "part-rivals",
        ),
        (coil(), "", "part-blind"),
    ],
)
def test_each_doubt_about_a_part_is_said(tmp_path, impedance, said, code):
    results = compute(recorded(tmp_path, impedance, said=said))
    assert code in [finding.code for finding in results.findings]
    refused = code in ("part-negative", "part-outside")
    assert bool(results.parts[0].verdict.figures) is not refused


def test_a_scatter_beyond_what_was_stated_is_said(tmp_path):
    folder = recorded(tmp_path, coil())
    record = folder / "record.toml"
    record.write_text(record.read_text().replace("noise = 0.0005", "noise = 0.0001"))
    results = compute(folder)
    assert "part-scatter" in [finding.code for finding in results.findings]
    assert results.parts[0].verdict.scatter == pytest.approx(5, rel=0.15)
