"""A part in a record: keys, answer first on every face, and what is refused."""

import json

import numpy as np
import pytest

from rfcal.errors import RecordError
from rfcal.record.job.compute import compute
from rfcal.report.page import output_files
from rfcal.report.summary import summary_lines

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


def coil(frequency=FREQUENCY):
    w = 2 * np.pi * frequency
    wire = 1j * w * 2.2e-6 + (1 + 1j) * np.sqrt(frequency / 10e6)
    return 1 / (1j * w * 2e-12 + 1 / wire)


def test_the_part_comes_first_and_alike_on_every_face(tmp_path):
    results = compute(recorded(tmp_path, coil(), said="temperature_c = 21.0\n"))
    first = summary_lines(results)[1]
    assert first.startswith("part, a coil, at 21 °C: 2.")
    for word in ("µH ± ", "Q at least ", "at 10 MHz", "resonates with itself at "):
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
        ('[[component]]\nmeasurement = "other"\n', "no [[measurement]] is named 'other'"),
        ('[[component]]\nmeasurement = "part"\n', "is a [[component]] already"),
        ('model = "diode"\n', "'diode' is none of"),
        ("temperature_c = -300.0\n", "-300 is not at least -273.15"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, said, sentence):
    with pytest.raises(RecordError) as refusal:
        compute(recorded(tmp_path, coil(), said=said))
    assert sentence in str(refusal.value)
