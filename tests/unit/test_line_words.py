"""What a crew reads first of a line: the sentence, its list, and what `check` warns of.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.maths.reflection import from_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.findings.line.band import least_seen
from rfcal.record.findings.line.state import about_line, line_verdict
from rfcal.record.format.line import LineCheck
from rfcal.record.format.reading import Reading
from rfcal.record.job.line import line_state
from rfcal.report.text.line import line_lines
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_faults import WIDE, foot, noisy
from tests.unit.test_line_state import clauses, random_rod, rod, state

LINE = Line(24.0, 0.8, 50.0, 0.45)


def known(now, then=None, line=LINE, band=WIDE, seed=3):
    given = {"loss_known": True, "length_m": line.length_m}
    return state(np.random.default_rng(seed), band, line, now, then, **given)


def chain(line, at, part, end, band=WIDE):
    whole = line.two_port(band, at) @ part @ line.two_port(band, line.length_m - at)
    return from_impedance(whole.input_impedance(end))


@pytest.mark.parametrize("at", [7.0, 12.0])
def test_a_change_that_the_end_hides_is_told_by_how_much_it_changed(at):
    band, line = np.linspace(140e6, 146e6, 201), replace(LINE, length_m=27.0)
    end = rod(band, 143.5e6, 44.0, 7.0)
    now, then = foot(band, line, end, ("series", 9.0, at)), foot(band, line, end)
    found = known(now, then, line, band)
    said, fault = line_verdict(found)
    assert fault
    (size,) = re.findall(r"has changed by (0\.\d+)", said)
    assert float(size) == pytest.approx(9 / 109, rel=0.2)
    assert "what was there before cannot be told from the line's end" in clauses(said)
    rows = [row for row in line_lines(found) if "phase counted" in row]
    assert rows
    assert not any(", from 0" in row for row in [said, *rows])


@pytest.mark.parametrize("z0", [75.0, 36.0])
def test_a_line_of_another_impedance_from_its_very_start_is_called_so(z0):
    other, end = replace(LINE, z0=z0), rod(WIDE, 85e6, 44.0, 7.0)
    said, fault = line_verdict(known(foot(WIDE, other, end)))
    (ohm,) = re.findall(r"^From the very start the line is of about (\d+) ohm, not 50: look", said)
    assert fault
    assert float(ohm) == pytest.approx(z0, rel=0.03)
    assert "look there" not in said


@pytest.mark.parametrize("ohm", [18.0, 55.0])
def test_a_bad_plug_at_the_foot_is_no_line_of_another_impedance(ohm):
    end = rod(WIDE, 85e6, 44.0, 7.0)
    said, fault = line_verdict(known(foot(WIDE, LINE, end, ("series", ohm, 0.0))))
    assert fault
    assert said.startswith("Reflection at 0.0")


@pytest.mark.parametrize(
    ("ohm", "like"),
    [(1e9, "an open line does"), (0.3, "a shorted line does: look there for what shorts it")],
)
def test_a_line_that_ends_open_or_shorted_is_a_warning(ohm, like):
    found = known(foot(WIDE, LINE, ohm))
    said, fault = line_verdict(found)
    assert fault
    assert like in said
    assert [f.severity for f in about_line(found) if f.code.startswith("line-fault")] == ["warning"]


@pytest.mark.parametrize(("true", "other"), [("RG-213", False), ("foam 10 mm", True)])
def test_a_line_that_is_not_of_its_stated_type_by_its_own_sweeps(true, other):
    rng, band = np.random.default_rng(6), np.linspace(140e6, 156e6, 161)
    line, stated = (CABLES[name].line(21.0) for name in (true, "RG-213"))
    end = rod(band, 148e6, 44.0, 7.0)
    now, *ends = (Quantity(noisy(rng, foot(band, line, z), 5e-4)) for z in (end, 1e9, 1e-3))
    far = tuple((sign, Reading("")) for sign in (1.0, -1.0))
    doubt = {"velocity factor": 0.01, "length": 0.1}
    found = line_state(
        LineCheck("", None, far, stated, True, doubt, (), True), band, now, None, ends, 50.0
    )
    said = [f.message for f in about_line(found) if f.code.startswith("line-not-type")]
    assert len(said) == other
    if other:
        assert re.search(r"velocity factor is 0\.8\d+, where its type has 0\.66", said[0])
        assert "dB at 148 MHz" in said[0]


def test_more_loss_is_told_with_the_same_digits_in_sentence_and_list():
    end = rod(WIDE, 85e6)
    aged = replace(LINE, conductor_db=LINE.conductor_db * 1.8)
    said = line_lines(known(foot(WIDE, aged, end), foot(WIDE, LINE, end)))
    (first,) = re.findall(r"loses (\d\.\d) ± \S+ dB more", said[0])
    assert any(row.startswith(f"its loss is {first} dB more") for row in said)


def test_a_band_that_tells_nothing_on_a_line_apart_says_so_first():
    band, line = np.linspace(143e6, 147e6, 161), replace(LINE, length_m=19.0)
    found = known(foot(band, line, rod(band, 145e6, 40.0, 12.0)), None, line, band)
    said = line_lines(found)
    assert re.match(
        r".*: This band cannot tell places on the line apart \(resolution 45 m\)", said[0]
    )
    assert re.search(r": sweep \d+ MHz wide or wider", said[0])
    assert not any("its last 45 m" in row for row in said)


def test_the_two_ends_of_a_stretch_that_also_loses_are_joined():
    wet = replace(LINE, length_m=5.0, z0=47.2, velocity_factor=0.755, dielectric_db=0.1)
    end = rod(WIDE, 85e6)
    dry = (LINE.two_port(WIDE, metres) for metres in (8.0, 11.0))
    whole = next(dry) @ wet.two_port(WIDE) @ next(dry)
    said, _ = line_verdict(known(from_impedance(whole.input_impedance(end)), foot(WIDE, LINE, end)))
    assert re.search(
        r"[Ii]f it is wet, it is so from 8\.0 m on to between \d+\.\d and 13\.\d m", said
    ), said
    assert "sound connector" not in said


def test_how_little_a_sweep_shows_before_the_end_is_not_what_the_end_hides_behind_it():
    found = known(foot(WIDE, LINE, rod(WIDE, 85e6)))
    hidden = replace(found.now, least=np.where(found.now.band.grid < LINE.length_m, 0.007, 0.3))
    assert least_seen(replace(found, now=hidden, length_m=26.0)) == pytest.approx(0.007)


@pytest.mark.parametrize("quality", [14.0, 25.0, 40.0])
def test_an_antenna_that_resonates_in_a_wide_sweep_is_no_open_line(quality):
    band, line = np.linspace(1e6, 300e6, 401), replace(LINE, length_m=28.0)
    then, now = rod(band, 145e6, 45.0, 9.0), rod(band, 146.5e6, 62.0, quality)
    said, _ = line_verdict(known(foot(band, line, now), foot(band, line, then), line, band))
    assert "an open" not in said
    said, fault = line_verdict(known(foot(band, line, now), None, line, band))
    assert not fault
    assert re.search(r"by a mean over the band, and 0\.\d+ .* at 146\.\d MHz", said), said


END = rod(WIDE, 85e6)
LOOSE = ("series", 0.7, 12.0)


@pytest.mark.parametrize(
    ("now", "then", "told"),
    [
        (foot(WIDE, LINE, rod(WIDE, 80e6)), foot(WIDE, LINE, END), "has changed"),
        (foot(WIDE, LINE, END, ("series", 8.0, 12.0)), foot(WIDE, LINE, END, LOOSE), "look there"),
        (foot(WIDE, LINE, END, ("shunt", 80.0, 12.0)), foot(WIDE, LINE, END), "look there"),
        (foot(WIDE, LINE, END, ("series", 30.0, 12.0)), None, "look there"),
        (foot(WIDE, LINE, 1e9), foot(WIDE, LINE, END), "or for what came off"),
    ],
    ids=["antenna", "joint that grew", "new leak", "no baseline", "broken"],
)
def test_the_first_sentence_is_short_and_one_to_act_on(now, then, told):
    said, fault = line_verdict(known(now, then))
    first, *rest = re.split(r"(?<=\.) (?=[A-Z])", said)
    assert fault
    assert told in first, said
    assert len(first.split()) <= 40
    assert rest


def test_a_narrow_band_that_places_nothing_says_first_what_to_sweep():
    band, line = np.linspace(7.0e6, 7.3e6, 121), Line(24.0, 0.8, 50.0, 0.45)
    now, then = (foot(band, line, rod(band, hz, 45.0, 9.0)) for hz in (7.2e6, 7.1e6))
    said, fault = line_verdict(known(now, then, line, band))
    assert fault
    first = said.split(". ")[0]
    assert re.search(r" has changed; this band cannot tell places .*: sweep \S+ MHz wide", first), (
        said
    )
    assert len(first.split()) <= 40


@pytest.mark.parametrize(("ohm", "judged"), [(30.0, True), (200.0, False)])
def test_an_end_that_cannot_be_judged_behind_a_strong_joint_is_not_told_as_a_fact(ohm, judged):
    """What is open behind a joint that lets little through is told once that is mended."""
    told, band = [], np.linspace(100e6, 200e6, 401)
    for seed in range(2):
        rng = np.random.default_rng(seed)
        line, at = Line(rng.uniform(25, 40), 0.85, 50.0, 0.5), rng.uniform(8, 18)
        end = random_rod(rng, band)
        swept = foot(band, line, 1e9, ("series", ohm, at)), foot(band, line, end)
        found = state(rng, band, line, *swept, loss_known=True, length_m=line.length_m)
        said, fault = line_verdict(found)
        assert fault
        told.append("he line now ends at" in said)
        assert told[-1] or ("mend this and sweep again" in said) is not judged, said
    assert any(told) is judged, told
