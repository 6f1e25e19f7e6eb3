"""``rfcal plan``: what a record's set-up will be able to say, before anything is read."""

import re

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.maths.reflection import from_impedance, swr, to_impedance
from rfcal.models.line import Line, loss_law
from rfcal.record.job.compute import compute
from rfcal.record.job.plan import outlook
from tests.record.conftest import BOX, DEVICE_OHM, bend, touchstone

AHEAD = """
format = 1
[record]
title = "ahead"
[[standard]]
name = "short"
kind = "short"
reading = "raw/short.s1p"
[[standard]]
name = "open"
kind = "open"
[[standard]]
name = "load"
kind = "load"
[[measurement]]
name = "antenna"
reading = "raw/antenna.s1p"
  [[measurement.between]]
  line = "RG-213"
  length_m = 12
"""


@pytest.fixture
def ahead(tmp_path):
    """A record of which nothing is read yet."""
    (tmp_path / "record.toml").write_text(AHEAD)
    return tmp_path


def test_nothing_need_be_read_yet(ahead, capsys):
    assert main(["plan", str(ahead), "--mhz", "70", "--ohm", "30-j12"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"if it is 30 - j12 ohm: R .* ohm, X .* ohm, SWR 1\.81", said)
    assert "largest source of uncertainty of R is antenna: line 1" in said
    assert "warning" not in said  # a perfect analyzer is no finding
    assert said.startswith("ahead: 'short' is not read yet; before it is, calibrate at the far")
    missing = said.split("what could not be noticed, and the reading that would:")[1]
    assert missing.count("[[check]]") == 2
    assert "in the place of 'antenna'" in missing
    assert "Read 'short' once more right after 'antenna'" in missing


def test_a_record_that_is_whole_is_not_said_to_lack_readings(filed, capsys):
    assert main(["plan", str(filed)]) == 0
    first, *_ = capsys.readouterr().out.splitlines()
    assert "all is read, go on to the report; for another time, " in first
    (filed / "raw/open.s1p").unlink()
    assert main(["plan", str(filed), "--mhz", "55"]) == 0
    assert "'open' is not read yet; before it is, " in capsys.readouterr().out


def test_a_report_still_needs_the_readings(ahead, capsys):
    assert main(["report", str(ahead), "--output", str(ahead / "o")]) == 2
    assert "there is no file 'raw/short.s1p'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "nothing says at which frequency: give answer_mhz, or say --mhz"),
        (["--mhz", "nan"], "no frequency that is measured"),
        (["--mhz", "70", "--ohm", "much"], "no impedance: write it as 30-12j"),
        (["--mhz", "70", "--ohm=-5"], "R is not below zero"),
    ],
)
def test_what_cannot_be_planned_is_refused(ahead, capsys, options, words):
    assert main(["plan", str(ahead), *options]) == 2
    assert words in capsys.readouterr().err


def test_a_plan_is_as_wide_as_the_answer_then_is(filed):
    """A perfect analyzer was planned with, and that of the record is nearly one."""
    (planned,) = outlook(filed, ohm=DEVICE_OHM).planned
    (plan,) = planned.plans.values()
    device = compute(filed).devices[0]
    half = device.expanded_uncertainty()[device.answer]
    assert planned.frequency_hz == device.frequency[device.answer]
    for name, measured in zip(("resistance", "reactance"), half, strict=True):
        figure = plan.figures[name]
        assert (figure.high - figure.low)[0] / 2 == pytest.approx(measured, rel=0.15)


def test_a_set_up_that_cannot_see_is_warned_of_before(typed, capsys):
    bend(typed, "resistance_ohm = 33.0", "resistance_ohm = 100.0")
    assert main(["plan", str(typed)]) == 0
    said = capsys.readouterr().out
    assert "warning: Check with 33 ohm too: every check would agree as well if" in said
    assert "no reading is missing" in said
    found = {finding.code for finding in outlook(typed).findings}
    assert "check-blind" in found


UNSIGNED = 'x_sign = "unknown"'
HIDES = {  # by the display of the device: its rows, and what a plan says first
    "no sign": (f"typed = [[14.0, 43.4, 19.0]]\n{UNSIGNED}", "Two answers may remain, with X"),
    "two sizes": ("typed_z_ohm = [[14.0, 47.4]]\ntyped_swr = [[14.0, 1.54]]", "Two answers may"),
    "a size": ("typed_z_ohm = [[14.0, 47.4]]", "Type SWR of 'antenna' too"),
    "another": ("typed_swr = [[14.0, 1.54]]", "Type |Z| of 'antenna' too"),
}


@pytest.mark.parametrize("shown", HIDES)
def test_what_the_display_does_not_show_is_said_before_any_interval(ahead, capsys, shown):
    rows, words = HIDES[shown]
    bend(ahead, 'kind = "open"', 'kind = "open"\ntyped = [[14.0, ">999", ">999"]]')
    bend(ahead, 'reading = "raw/antenna.s1p"', rows)
    assert main(["plan", str(ahead), "--mhz", "14"]) == 0
    _, first, *rest = capsys.readouterr().out.splitlines()
    head = next(line for line in rest if line.startswith("antenna at 14 MHz"))
    assert "The display shows less than R and X of 'open' and 'antenna', and each" in first
    assert "each ± for 'antenna' is that of a display that shows R and X in full" in first
    assert "Read a resistor of 150 to 300 ohm" in first
    assert words in first
    if "Two" in words:
        assert "if X is about 100 ohm: Read the device again with about 400 pF in series" in first
    assert "if all were shown" in head
    assert not any("no reading is missing" in line for line in rest)


OHM = {"short": 0.0, "open": 1e9, "load": 50.0, "device": 43 - 19j}
STYLES = {
    "no sign": lambda z: f"typed = [[14.0, {z.real:.1f}, {abs(z.imag):.1f}]]\n{UNSIGNED}\n",
    "an open beyond 500": lambda z: (
        f"typed = [[14.0, {z.real:.1f}, {z.imag:.1f}]]\n"
        if abs(z) < 500
        else 'typed = [[14.0, ">500", ">500"]]\n'
    ),
    "size and SWR": lambda z: (
        f"typed_z_ohm = [[14.0, {abs(z):.1f}]]\n"
        f"typed_swr = [[14.0, {float(swr(from_impedance(z))):.2f}]]\n"
    ),
}


@pytest.mark.parametrize("style", STYLES)
def test_what_the_display_hides_makes_the_plan_as_wide_as_the_report(tmp_path, capsys, style):
    lines = ['format = 1\n[record]\ntitle = "t"\n']
    for name, ohm in OHM.items():
        z = complex(to_impedance(BOX.apply(from_impedance(ohm)))[0])
        kind = f'kind = "{name}"\n' if name != "device" else ""
        head = "standard" if kind else "measurement"
        lines.append(f'[[{head}]]\nname = "{name}"\n{kind}{STYLES[style](z)}')
    (tmp_path / "record.toml").write_text("".join(lines))
    (planned,) = outlook(tmp_path, ohm=OHM["device"]).planned
    device = compute(tmp_path).device("device")
    answers = [device, *([device.other] if device.other else [])]
    shown = planned.shown[OHM["device"]]
    assert [finding.code for finding in planned.unshown] == ["plan-shows-less"]
    assert len(shown) == len(answers)
    full = planned.plans[OHM["device"]].figures
    for part, of in (("resistance", np.real), ("reactance", np.imag)):
        for mine, its in zip(shown, answers, strict=True):
            width, told, narrow = (
                float(f.high[0] - f.low[0]) for f in (mine[part], its.figures[part], full[part])
            )
            # the standards' likeliest readings are not quite the true ones
            assert 0.6 < width / told < 1.6
            assert width > 1.2 * narrow
        truth = of(OHM["device"])
        assert any(mine[part].low <= truth <= mine[part].high for mine in shown)
    assert main(["plan", str(tmp_path), "--ohm", "43-19j"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert "holds that, with the standards as they were read" in said[1]
    at = next(i for i, line in enumerate(said) if line.startswith("  if it is 43 - j19 ohm: "))
    assert said[at].count("SWR") == len(answers)
    assert said[at + 1].startswith("    if all were shown: R 43.0")


def test_what_is_still_to_be_read_besides_the_standards_is_left_out(typed, capsys):
    """A check and a reread that are planned, and a display without the sign of X."""
    text = (typed / "record.toml").read_text()
    head, *tables = re.split(r"(?m)^(?=\[\[)", text)
    for i, table in enumerate(tables):
        if table.startswith(("[[check]]", "[[reread]]")):
            tables[i] = re.sub(r"(?m)^typed = .*$", "", table)
        if table.startswith("[[measurement]]"):
            tables[i] = re.sub(
                r"(?m)^typed = \[\[([\d.]+), .*$", rf"typed = [[\1, 43.4, 19.0]]\n{UNSIGNED}", table
            )
    (typed / "record.toml").write_text(head + "".join(tables))
    assert main(["plan", str(typed), "--ohm", "43-19j"]) == 0
    said = capsys.readouterr().out
    assert "holds that, with the standards as they were read" in said
    assert "X -19." in said


def test_a_display_that_shows_all_needs_no_such_word(typed, capsys):
    assert main(["plan", str(typed)]) == 0
    said = capsys.readouterr().out
    assert "in full" not in said
    assert "all were shown" not in said


def test_a_frequency_that_nothing_was_read_at_is_said_before_any_interval(filed, capsys):
    assert main(["plan", str(filed), "--mhz", "300"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[1] == (
        "warning: A report answers at 300 MHz only once everything is read there: the reading of "
        "'device' has 11 points from 50 to 60 MHz."
    )
    (planned,) = outlook(filed, hertz=300e6).planned
    assert [finding.code for finding in planned.elsewhere] == ["plan-elsewhere"]
    assert main(["plan", str(filed), "--mhz", "60"]) == 0
    assert "only once" not in capsys.readouterr().out


def test_what_makes_one_of_the_intervals_wider_is_no_advice(filed, capsys):
    """At 300 MHz an offset open would narrow X and widen R to twice."""
    bend(filed, 'load.s1p"\nuncertainty = 0.002', 'load.s1p"')
    options = next(iter(outlook(filed, hertz=300e6).planned[0].plans.values())).options
    assert any(o.gain > 0.05 and max(o.resistance[0], o.reactance[0]) > 1.5 for o in options)
    assert main(["plan", str(filed), "--mhz", "300"]) == 0
    left = re.findall(r"leaves (\d+)% of R's interval and (\d+)% of X's", capsys.readouterr().out)
    assert left
    assert all(int(part) <= 100 for pair in left for part in pair)


GRID = np.linspace(50e6, 60e6, 11)
SWEPT = '[[measurement.between]]\nline = "measured"\nfar_end_open = "raw/o.s1p"\n'
SWEPT += 'far_end_short = "raw/s.s1p"\n'


@pytest.fixture
def behind(filed):
    """The record of files with its device behind 9 dB of line, both ends swept."""
    line = Line(30.0, 0.66, 60.0, *loss_law(((55.0, 15.0),)))
    through = line.two_port(GRID).bilinear(50.0)
    for name, x in (("o", 1.0), ("s", -1.0), ("device", from_impedance(DEVICE_OHM))):
        text = touchstone(GRID, BOX.apply(through.apply(np.full(11, x, complex))))
        (filed / f"raw/{name}.s1p").write_text(text)
    with (filed / "record.toml").open("a") as file:
        file.write(SWEPT)
    return filed


def widths(folder):
    (planned,) = outlook(folder, ohm=DEVICE_OHM).planned
    (plan,) = planned.plans.values()
    figures = [plan.figures[name] for name in ("resistance", "reactance")]
    return np.array([(f.high - f.low)[0] / 2 for f in figures])


def test_end_sweeps_that_are_there_make_the_plan_as_wide_as_the_report(behind, capsys):
    device = compute(behind).devices[0]
    assert widths(behind) == pytest.approx(device.expanded_uncertainty()[device.answer], rel=0.15)
    assert main(["plan", str(behind)]) == 0
    assert "taken as short" not in capsys.readouterr().out


def test_an_adapter_file_that_is_there_is_used(behind):
    through = Line(30.0, 0.66, 60.0, *loss_law(((55.0, 15.0),))).two_port(GRID).bilinear(50.0)
    own, back = through.directivity, through.source_match
    passing = np.sqrt(through.reflection_tracking)
    rows = (
        f"{f} " + " ".join(f"{v.real!r} {v.imag!r}" for v in map(complex, (a, t, t, b)))
        for f, a, t, b in zip(GRID, own, passing, back, strict=True)
    )
    (behind / "raw/a.s2p").write_text("# Hz S RI R 50\n" + "\n".join(rows) + "\n")
    bend(behind, SWEPT, '[[measurement.between]]\nadapter = "raw/a.s2p"\n')
    device = compute(behind).devices[0]
    assert widths(behind) == pytest.approx(device.expanded_uncertainty()[device.answer], rel=0.15)


WHY = {
    "its sweeps are missing": "nothing tells of it yet",
    "a standard is missing": "its sweeps will tell of it in the report, with the standards",
    "a display shows less": "its sweeps will tell of it in the report, with the standards",
    "read elsewhere": "what tells of it has 11 points from 50 to 60 MHz",
}


@pytest.mark.parametrize("case", WHY)
def test_an_element_that_is_taken_as_short_says_why(behind, capsys, case):
    at = "300" if case == "read elsewhere" else "55"
    if case == "its sweeps are missing":
        (behind / "raw/o.s1p").unlink()
    if case == "a standard is missing":
        (behind / "raw/load.s1p").unlink()
    if case == "a display shows less":
        bend(behind, 'reading = "raw/open.s1p"', 'typed = [[55.0, ">999", ">999"]]')
    assert main(["plan", str(behind), "--mhz", at]) == 0
    said = capsys.readouterr().out
    assert "'device: measured 1' was taken as short and without loss: " in said
    assert WHY[case] in said
