"""A line of another day than its far end's sweeps, or than the standards behind it: it is told."""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.defaults import NO_WEATHER_STRETCH
from rfcal.maths.reflection import from_impedance
from rfcal.models.line import Line
from rfcal.record.findings.devices import why_doubted
from rfcal.record.job.compute import compute
from tests.record.conftest import BOX, touchstone

FREQUENCY = np.linspace(1e6, 200e6, 200)
COLD = Line(30.0, 0.85, 50.3, conductor_db=0.35)
ANSWER = 145e6
PATH = """answer_mhz = 145
[[measurement.between]]
line = "measured"
far_end_open = "raw/far-open.s1p"
far_end_short = "raw/far-short.s1p"
"""
CHECK = """[[check]]
name = "120 ohm"
resistance_ohm = 120
at = "device"
reading = "raw/120.s1p"
"""
LINE_CHECK = """[line_check]
reading = "raw/device.s1p"
baseline = "raw/then.s1p"
length_m = 30
far_end_open = "raw/{far}open.s1p"
far_end_short = "raw/{far}short.s1p"
"""
NARROW = np.linspace(130e6, 160e6, 101)
ENDS = {"short": -1.0, "open": 1.0}


def longer(share):
    return replace(COLD, length_m=30.0 * (1 + share))


def seen(line, reflection):
    """A raw sweep of something at the far end of a line."""
    through = line.two_port(FREQUENCY).bilinear(50.0)
    return BOX.apply(through.apply(np.broadcast_to(reflection, FREQUENCY.shape).astype(complex)))


def antenna():
    """One of Q 9, which answers later than it is reached [ohm]."""
    return 25 + 225j * (FREQUENCY / 146e6 - 146e6 / FREQUENCY)


def put(folder, **sweeps):
    for name, sweep in sweeps.items():
        text = touchstone(FREQUENCY, np.broadcast_to(sweep, FREQUENCY.shape))
        (folder / f"raw/{name.replace('_', '-')}.s1p").write_text(text)


def add(folder, text):
    with (folder / "record.toml").open("a") as file:
        file.write(text)


def said(results, code):
    return next((f.message for f in results.findings if f.code == code), "")


@pytest.fixture
def tower(filed):
    """An antenna behind a line, by sweeps of its far end; `now` it is as long as that."""
    put(filed, **{name: BOX.apply(np.array([v + 0j])) for name, v in {**ENDS, "load": 0}.items()})
    put(filed, **{f"far_{name}": seen(COLD, value) for name, value in ENDS.items()})
    put(
        filed,
        device=seen(COLD, from_impedance(antenna())),
        then=seen(COLD, from_impedance(antenna())),
    )
    put(filed, **{"120": seen(COLD, from_impedance(120.0))})
    add(filed, PATH)
    return filed


@pytest.fixture
def top(filed):
    """The same with the standards at the far end of the line."""
    put(filed, **{name: seen(COLD, v) for name, v in {**ENDS, "load": 0}.items()})
    put(filed, device=seen(COLD, from_impedance(antenna())))
    add(filed, "answer_mhz = 145\n")
    return filed


@pytest.mark.parametrize(("where", "code"), [("tower", "no-check-behind"), ("top", "no-reread")])
def test_what_ten_kelvin_would_move_is_told_and_true(request, where, code):
    folder = request.getfixturevalue(where)
    cold = compute(folder)
    told = said(cold, code)
    put(folder, device=seen(longer(1e-3), from_impedance(antenna())))
    warm = compute(folder).device("device").at(ANSWER)
    then = cold.device("device").at(ANSWER)
    off = abs(warm.reactance.value - then.reactance.value)
    assert off > 2 * abs(warm.swr.value - then.swr.value)
    assert float(re.findall(r"X by ([\d.]+) ohm", told)[0]) == pytest.approx(off, rel=0.1)
    assert "each 0.1%, as of some 10 K, moves " in told
    assert "of 'device', but hardly the SWR." in told


def test_it_is_not_told_where_it_moves_less_than_is_known_and_by_a_check_since_that(tower):
    assert "K, moves" in said(compute(tower), "no-check-behind")
    matched = from_impedance(50.0 + 0 * FREQUENCY)
    put(tower, device=seen(COLD, matched))
    told = said(compute(tower), "no-check-behind")
    assert told
    assert "K, moves" not in told
    put(tower, device=seen(COLD, from_impedance(antenna())))
    add(tower, CHECK)
    results = compute(tower)
    assert not said(results, "no-check-behind")
    told = said(results, "check-before")
    assert "longer or shorter than when the check was read: each 0.1%, as of some 10 K" in told
    assert "X by 4" in told
    put(tower, device=seen(COLD, matched))
    assert not said(compute(tower), "check-before")


@pytest.mark.parametrize(
    ("frequency", "share"), [(FREQUENCY, 0.002), (FREQUENCY, -0.002), (NARROW, 0.0035)]
)
def test_a_line_that_has_grown_since_its_baseline_shakes_what_old_sweeps_make_of_a_device(
    frequency, share, monkeypatch, request
):
    """In a narrow band the antenna's own delay seems to be more of the line, which grew less."""
    monkeypatch.setitem(globals(), "FREQUENCY", frequency)
    tower = request.getfixturevalue("tower")
    put(tower, device=seen(longer(share), from_impedance(antenna())))
    add(tower, LINE_CHECK.format(far="far-"))
    results = compute(tower)
    told = said(results, "other-line")
    assert f"the line is {'longer' if share > 0 else 'shorter'} than in the baseline" in told
    r, x = map(float, re.findall(r"but R ([\d.]+) .*, X (-[\d.]+) ± .*, SWR", told)[0])
    true = complex(antenna()[np.argmin(np.abs(FREQUENCY - ANSWER))])
    assert (r, x) == (pytest.approx(true.real, abs=0.3), pytest.approx(true.imag, abs=0.3))
    cold = results.device("device").at(ANSWER)
    assert not cold.reactance.low < true.imag < cold.reactance.high
    assert "the line has changed" in why_doubted(results.findings, "device")
    assert "K, moves" not in said(results, "no-check-behind")


@pytest.mark.parametrize("how", ["as it was", "checked", "swept anew"])
def test_an_answer_is_not_shaken_by_a_baseline_where_its_own_sweeps_may_be_of_today(tower, how):
    warm, far = longer(0.0 if how == "as it was" else 0.002), "far-"
    put(tower, device=seen(warm, from_impedance(antenna())))
    if how == "checked":
        add(tower, CHECK)
    if how == "swept anew":
        far = "old-"
        put(tower, **{f"old_{name}": seen(COLD, value) for name, value in ENDS.items()})
        put(tower, **{f"far_{name}": seen(warm, value) for name, value in ENDS.items()})
    add(tower, LINE_CHECK.format(far=far))
    results = compute(tower)
    assert (results.line.comparison.shift is None) == (how == "as it was")
    assert not said(results, "other-line")


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.003, "warmth or cold that made the line before the standards 0.30% longer or a change"),
        (-0.003, "before the standards 0.30% shorter or a change of adapter"),
        (0.0004, "before the standards 0.04% longer, an analyzer that drifted, "),
    ],
)
def test_a_standard_that_turned_no_further_than_weather_does_is_not_behind_a_lead(
    top, share, words
):
    put(top, again=seen(longer(share), -1.0))
    add(top, '[[reread]]\nof = "short"\nreading = "raw/again.s1p"\n')
    assert words in said(compute(top), "moved")


def test_a_lead_behind_a_long_line_is_told_where_no_weather_does_as_much(top):
    put(top, again=seen(longer(2 * NO_WEATHER_STRETCH), -1.0))
    add(top, '[[reread]]\nof = "short"\nreading = "raw/again.s1p"\n')
    results = compute(top)
    assert "warmth" not in str(results.findings)
    assert said(results, "lead-left") or said(results, "moved")


@pytest.mark.parametrize(("share", "may_be"), [(0.003, True), (0.008, False)])
def test_a_check_behind_a_measured_line_may_be_off_by_weather(tower, share, may_be):
    put(tower, **{"120": seen(longer(share), from_impedance(120.0))})
    add(tower, CHECK)
    told = said(compute(tower), "check-disagrees")
    assert ("of a line that was warmer or colder when its far end was swept" in told) == may_be
