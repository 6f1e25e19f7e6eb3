"""What was typed by hand off a display: units, a correction left on, one row that is off."""

import re

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.record.job.compute import compute, inspect
from rfcal.report.page import page
from rfcal.report.summary import check_lines, summary_lines

READ = {"short": 0.0, "open": 1e9, "load": 50.0, "82 ohm": 82.0, "wire": 62 + 38j}
"""What is connected [ohm]."""


def analyzer(lead_s, hertz):
    """A raw one behind a lead of this round trip."""
    turn = np.exp(-2j * np.pi * hertz * lead_s)
    return Bilinear.from_error_terms(0.03 + 0.02j + 0 * turn, 0.04 - 0.05j + 0 * turn, 0.95 * turn)


def rows(name, hertz, box, mhz):
    z = to_impedance(box.apply(np.full(hertz.size, from_impedance(READ[name]))), 50.0)
    return [
        [m, round(float(a.real), 1), round(float(a.imag), 1)] for m, a in zip(mhz, z, strict=True)
    ]


def written(folder, hertz, mhz, lead_s=0.3e-9, *, csv=False, box=None, kit="", more="", **typed):
    """A record of READ at frequencies [Hz], which it says are `mhz`."""
    hertz = np.array(hertz, float)
    box = box or analyzer(lead_s, hertz)
    text = 'format = 1\n[record]\ntitle = "by hand"\n'
    for name in READ:
        of = typed.get(name, rows(name, hertz, box, mhz))
        head = f'[[standard]]\nname = "{name}"\nkind = "{name}"\n' + kit
        if name in ("82 ohm", "wire"):
            table = "check" if name == "82 ohm" else "measurement"
            head = f'[[{table}]]\nname = "{name}"\n'
            head += "resistance_ohm = 82\n" * (table == "check")
        text += f"{head}typed = {of}\n".replace("'", '"')
        if csv:
            text = text.replace(f"typed = {of}", f'reading = "{name}.csv"')
            lines = ["frequency_mhz,r_ohm,x_ohm", *(",".join(map(str, row)) for row in of)]
            (folder / f"{name}.csv").write_text("\n".join(lines) + "\n")
    (folder / "record.toml").write_text(text + more)
    return folder


def asked(folder):
    return [f.message for f in inspect(folder).findings if f.code == "typed-khz"]


@pytest.mark.parametrize("csv", [False, True])
@pytest.mark.parametrize("khz", [[1850], [1810, 1850, 1900], [3500, 3650, 3800], [4000]])
def test_khz_that_stand_for_mhz_are_asked_about(tmp_path, khz, csv):
    (said,) = asked(written(tmp_path, np.array(khz) * 1e3, khz, csv=csv))
    meant = f"{khz[0] / 1e3:g} to {khz[-1] / 1e3:g}" if khz[1:] else f"{khz[0] / 1e3:g}"
    assert said.startswith(f"Is this {meant} MHz? The frequencies say {khz[0]}")


def test_a_kit_whose_planes_lie_behind_its_connectors_is_asked_about_too(tmp_path):
    kit = 'build = "machined"\noffset_delay_ps = 30\n'
    assert asked(written(tmp_path, [3.65e6], [3650], kit=kit))


@pytest.mark.parametrize("mhz", [[1850], [2400, 2450, 2500]])
def test_standards_that_turn_as_at_what_is_typed_are_not_asked_about(tmp_path, mhz):
    for lead_s in (0.25e-9, 0.45e-9):  # 25 and 45 mm of cable, there and back
        assert not asked(written(tmp_path, np.array(mhz) * 1e6, mhz, lead_s))


def test_uhf_and_what_no_display_was_read_of_are_not_asked_about(tmp_path):
    assert not asked(written(tmp_path, [1.296e9], [1296], 0.0))
    folder = written(tmp_path, [2.4e9, 2.5e9], [2400, 2500], 0.0, csv=True)
    for file in folder.glob("*.csv"):
        head, *lines = file.read_text().splitlines()
        hertz = [line.replace("00,", "00e6,", 1) for line in lines]
        file.write_text("\n".join([head.replace("mhz", "hz"), *hertz]))
    assert not asked(folder)


def test_what_may_leave_every_answer_idle_is_told_before_all(tmp_path, small, undrawn):
    folder = written(tmp_path, [1.85e6], [1850], more="[match]\n")
    results = compute(folder)
    question = next(f.message for f in results.findings if f.code == "typed-khz")
    assert summary_lines(results)[1] == f"note: {question}"
    assert check_lines(results)[:2] == [
        "no warnings, but a question: answer it before you go on",
        f"note: {question}",
    ]
    text = page(results)
    body = text[text.index("<main>") : text.index('id="record"') if 'id="record"' in text else None]
    assert 0 < body.index(question) < body.index('class="answer')
    assert body.count(question) == 1


def test_a_correction_that_is_on_leads_what_follows_from_it(tmp_path):
    exact = {"short": [[3.65, 0.0, 0.0]], "open": [[3.65, 9999, 0]]}
    ideal = Bilinear.from_error_terms(*np.array([[0j], [0j], [1 + 0j]]))
    results = inspect(written(tmp_path, [3.65e6], [3.65], box=ideal, **exact))
    loud = [f.code for f in results.findings if f.severity == "warning"]
    assert loud == ["standards-corrected", "display-limit"]
    assert "own correction was on" in summary_lines(results)[1]


def test_a_check_that_says_little_beside_no_cable_speaks_of_none(tmp_path):
    results = inspect(written(tmp_path, [3.65e6], [3650]))
    (said,) = (f.message for f in results.findings if f.code == "check-blunt")
    assert "State more closely what is said of 'load: inductance'" in said
    assert not any(word in said for word in ("length", "type", "read through", "far end"))


FEW = [28.0, 28.4, 28.8, 29.2, 29.7]


def disagreement(folder, at, seen_ohm):
    """What is said of a check of 82 ohm that reads as another at one row, or at all."""
    hertz = np.array(FEW) * 1e6
    box = analyzer(0.1e-9, hertz)
    off, right = (to_impedance(box.apply(np.full(5, from_impedance(z))), 50.0) for z in seen_ohm)
    z = np.where(np.isin(np.arange(5), at), off, right)
    check = [
        [m, round(float(a.real), 1), round(float(a.imag), 1)] for m, a in zip(FEW, z, strict=True)
    ]
    results = inspect(written(folder, hertz, FEW, box=box, **{"82 ohm": check}))
    return next(f.message for f in results.findings if f.code == "check-disagrees")


@pytest.mark.parametrize("at", [0, 2, 4])
def test_one_row_of_several_that_is_off_is_to_be_read_again_first(tmp_path, at):
    said = disagreement(tmp_path, [at], (28.0, 82.0))
    first = f"at {FEW[at]:g} MHz. Read it and the standards again there first, for it"
    assert first in said


def test_a_check_that_is_off_at_all_rows_is_not_read_again_at_one(tmp_path):
    assert "again there" not in disagreement(tmp_path, [0, 1, 2, 3, 4], (60.0, 82.0))


SIX_METRES = {
    "short": [(3, 1)] * 5,
    "open": [(-47, -1933), (-42, -1914), (-43, -1892), (-26, -1865), (-14, -1851)],
    "load": [(52, 0)] * 5,
    "82 ohm": [(84, 0)] * 5,
    "wire": [(65, 27), (58, 16), (49, 14), (42, 17), (37, 24)],
    "120 ohm": [(36, 28), (39, 32), (43, 35), (48, 38), (56, 41)],
}
"""R and X [ohm] as an analyzer reads them, the last two behind 6 m of RG-58C."""


def lengths_told(folder, stated_m, readings=SIX_METRES):
    """The lengths that would make a check behind a cable agree."""
    typed = {
        name: [[m, *row] for m, row in zip(FEW, each, strict=True)]
        for name, each in readings.items()
    }
    more = f"""
[[measurement.between]]
line = "RG-58C"
length_m = {stated_m}
[[check]]
name = "120 ohm"
at = "wire"
build = "leaded"
resistance_ohm = 120
typed = {typed.pop("120 ohm")}
"""
    results = inspect(written(folder, np.array(FEW) * 1e6, FEW, more=more, **typed))
    (said,) = (f.message for f in results.findings if f.code == "check-disagrees")
    return re.findall(r"the length of the line before 'wire' were ([\d.]+) m(, so)?", said)


def test_of_lengths_half_a_wave_apart_the_nearest_to_what_is_stated_is_told(tmp_path):
    """Half a wave, 3.4 m shorter, would agree too."""
    ((metres, _),) = lengths_told(tmp_path, 7.0)
    assert float(metres) == pytest.approx(6.0, abs=0.05)


def test_a_length_in_feet_hides_no_nearer_one_that_agrees_as_well(tmp_path):
    """0.3048 times 8.5 m is half a wave from the truth, by chance."""
    feet, nearer = lengths_told(tmp_path, 8.5)
    assert float(feet[0]) == pytest.approx(2.59, abs=0.05)
    assert feet[1] == ", so"
    assert float(nearer[0]) != pytest.approx(float(feet[0]), abs=1.0)
