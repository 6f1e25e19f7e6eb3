"""A line that loses more than it did, or than is stated: told as that, and as nothing at its end.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.changes.comparison import TRIFLE
from rfcal.models.line import Line
from rfcal.record.export import _line as json_line
from rfcal.record.findings.line.state import about_devices, about_line, line_verdict
from rfcal.record.format.line import LineCheck
from rfcal.record.job.line import line_state
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_faults import HIGH, WIDE, foot, noisy
from tests.unit.test_line_state import clauses, random_rod, rod, state

NARROW = np.linspace(140e6, 152e6, 121)
BANDS = pytest.mark.parametrize("frequency", [WIDE, HIGH, NARROW], ids=["wide", "high", "narrow"])


@BANDS
@pytest.mark.parametrize("loss_known", [True, False])
@pytest.mark.parametrize("end", [1e9, 75.0, "antenna"])
def test_an_old_cable_is_told_against_its_baseline(frequency, loss_known, end):
    rng = np.random.default_rng(41)
    for stated in ({}, {"length_m": 40.0}):
        line = Line(40.0, 0.85, 50.0, 0.41)
        old = replace(line, conductor_db=rng.uniform(0.9, 1.6))
        ended = random_rod(rng, frequency) if end == "antenna" else end
        now, then = (foot(frequency, each, ended) for each in (old, line))
        found = state(rng, frequency, line, now, then, loss_known=loss_known, **stated)
        more = (old.conductor_db - 0.41) * np.sqrt(np.mean(frequency) / 1e6) * 0.4
        lost = found.comparison.lost
        assert lost.more_db == pytest.approx(more, abs=0.15)
        said, fault = line_verdict(found)
        assert fault
        assert said.startswith(f"The line loses {lost.more_db:.1f} ± 0.")
        assert "otherwise as it was" not in said
        if frequency is not NARROW:
            assert lost.sure
            assert "look for old or wet cable; nothing else has changed" in clauses(said)


@pytest.mark.parametrize("end", [1e9, 75.0, "antenna"])
@pytest.mark.parametrize("frequency", [WIDE, HIGH], ids=["wide", "high"])
def test_what_the_ends_own_change_explains_is_no_change_before_it(frequency, end):
    """Loss that delays as the skin effect does, and that of braids, which does not."""
    rng, line = np.random.default_rng(45), Line(31.0, 0.66, 50.0, 0.63)
    for skin in (1.0, 0.4):
        old = replace(line, conductor_db=0.63 / 0.4, skin=skin)
        ended = rod(frequency, 28.5e6, 72.0, 12.0) if end == "antenna" else end
        now, then = (foot(frequency, each, ended) for each in (old, line))
        for loss_known in (True, False):
            stated = {"loss_known": loss_known, "length_m": 31.0}
            found = state(rng, frequency, line, now, then, **stated)
            assert not found.comparison.changes
            if loss_known:  # the line's loss is made good as it is now
                sizes = [np.max(np.abs(seen.reflection)) for seen in (found.now, found.before)]
                assert sizes[0] == pytest.approx(sizes[1], rel=0.05)
                assert not any(TRIFLE < abs(r) < 0.3 * sizes[0] for r in found.now.reflection[:1])


@BANDS
def test_another_end_is_no_loss_for_certain(frequency):
    rng = np.random.default_rng(42)
    for _ in range(25):
        line = Line(rng.uniform(20, 60), 0.85, 50.0, 0.5)
        now, then = (
            foot(frequency, line, random_rod(rng, frequency) if rng.random() < 0.5 else ohm)
            for ohm in np.exp(rng.uniform(2.5, 6, 2))
        )
        lost = state(rng, frequency, line, now, then, loss_known=True).comparison.lost
        assert lost is None or not lost.sure


@BANDS
def test_a_new_fault_on_the_way_is_no_loss(frequency):
    rng, line = np.random.default_rng(43), Line(50.0, 0.85, 50.0, 0.4)
    now, then = foot(frequency, line, 75.0, ("shunt", 60.0, 21.0)), foot(frequency, line, 75.0)
    found = state(rng, frequency, line, now, then, loss_known=True, length_m=50.0)
    assert found.comparison.lost is None
    assert "New reflection at 2" in line_verdict(found)[0]


@pytest.mark.parametrize("end", [1e9, 75.0])
@pytest.mark.parametrize("frequency", [WIDE, HIGH], ids=["wide", "high"])
def test_more_than_the_stated_loss_needs_no_baseline(frequency, end):
    rng, line = np.random.default_rng(44), Line(40.0, 0.85, 50.0, 0.41)
    for conductor in (0.35, 0.41, 0.47, 1.16):
        seen = foot(frequency, replace(line, conductor_db=conductor), end)
        found = state(rng, frequency, line, seen, loss_known=True, length_m=40.0)
        said, fault = line_verdict(found)
        if conductor < 0.5:
            assert found.lost is None
            assert fault == (end > 75.0)  # as an open end is
            continue
        more = (conductor - 0.41) * np.sqrt(np.mean(frequency) / 1e6) * 0.4
        assert abs(found.lost.more_db - more) < 2 * found.lost.uncertainty_db
        assert "dB more than is stated of it at" in said
        assert fault


@BANDS
def test_a_matched_end_of_a_sound_line_tells_no_loss(frequency):
    """The little that it reflects falls over the band as it likes."""
    rng = np.random.default_rng(78)
    for _ in range(40):
        line = Line(rng.uniform(25, 80), 0.85, 50.0, rng.uniform(0.2, 0.8))
        end = rng.choice([50.0, 50.2, 51.0])
        seen, stated = foot(frequency, line, end), {"length_m": line.length_m}
        found = state(rng, frequency, line, seen, loss_known=True, **stated)
        assert found.lost is None
        assert not line_verdict(found)[1]


@pytest.mark.parametrize("conductor_db", [2.2, 2.5])
@pytest.mark.parametrize("end", [75.0, 35.0])
def test_so_much_more_loss_that_hardly_anything_comes_back_is_no_other_end(end, conductor_db):
    line = Line(64.0, 0.85, 50.0, 0.74)
    old = replace(line, conductor_db=conductor_db)
    for stated in ({}, {"length_m": 64.0}):
        now, then = (foot(WIDE, each, end) for each in (old, line))
        found = state(np.random.default_rng(1), WIDE, line, now, then, **stated)
        assert line_verdict(found)[0].startswith("The line loses ")


@pytest.mark.parametrize("end", ["antenna", 50.0, 1e9])
def test_that_a_lines_loss_was_not_measured_is_said(end):
    """Where neither far ends, nor a baseline, nor an end that is alike over the band tell it."""
    rng, line = np.random.default_rng(79), Line(40.0, 0.85, 50.0, 0.41)
    for frequency in (WIDE, NARROW):
        seen = foot(frequency, line, random_rod(rng, frequency) if end == "antenna" else end)
        for then in (None, seen):
            found = state(rng, frequency, line, seen, then, loss_known=True, length_m=40.0)
            codes = [finding.code for finding in about_line(found)]
            told = then is not None or (end == 1e9 and frequency is WIDE)
            assert ("line-loss-unseen" in codes) is not told


@pytest.mark.parametrize(("share", "words"), [(1.0, ""), (1.28, "may lose"), (1.6, "loses")])
def test_more_loss_than_a_types_is_said_with_its_doubt(share, words):
    """By far ends: nothing inside the 95 % interval, perhaps outside it, and for certain beyond."""
    rng, usual = np.random.default_rng(46), Line(60.0, 0.66, 50.0, 0.63)
    now = replace(usual, conductor_db=0.63 * share)
    wanted = LineCheck("", None, ((1.0, "o"), (-1.0, "s")), usual, True, {"length": 0.2}, (), True)
    sweeps = [Quantity(noisy(rng, foot(WIDE, now, end), 0.0005)) for end in (75.0, 1e9, 1e-6)]
    said, fault = line_verdict(line_state(wanted, WIDE, sweeps[0], None, sweeps[1:], 50.0))
    assert fault is (words == "loses")
    assert bool(words) is (f"he line {words} " in said and "dB more than is stated of it" in said)
    assert ("tells whether it does" in said) is (words == "may lose")


@pytest.mark.parametrize("end", [1e9, 75.0, "antenna"])
@pytest.mark.parametrize("share", [1.0, 1.8])
def test_loss_that_grew_since_the_far_end_was_swept_is_told_where_the_end_shows_it(share, end):
    """Without a baseline: by an end that is alike all over the band; else that it is unseen."""
    rng, line = np.random.default_rng(47), Line(60.0, 0.66, 50.0, 0.63)
    wanted = LineCheck("", None, ((1.0, "o"), (-1.0, "s")), line, True, {"length": 0.2}, (), True)
    ended = random_rod(rng, WIDE) if end == "antenna" else end
    now = foot(WIDE, replace(line, conductor_db=0.63 * share), ended)
    sweeps = now, foot(WIDE, line, 1e9), foot(WIDE, line, 1e-6)
    now, *ends = (Quantity(noisy(rng, each, 0.0005)) for each in sweeps)
    found = line_state(wanted, WIDE, now, None, ends, 50.0)
    said, fault = line_verdict(found)
    codes = [finding.code for finding in about_line(found)]
    if share > 1 and end != "antenna":
        more = (share - 1) * 0.63 * np.sqrt(np.mean(WIDE) / 1e6) * 0.6
        assert found.since.more_db == pytest.approx(more, rel=0.2)
        assert "dB more than it did when its far end was swept at" in said
        assert fault
        assert "line-loss-unseen" not in codes
        said = about_devices(found, {"antenna": found.now})[0].message
        assert "the loss that the line has gained" in said
        told = json_line(found)["lost_since_far_end"]
        assert told["more_db"] == found.since.more_db
    else:
        assert found.since is None
        assert ("line-loss-unseen" in codes) is (end != 1e9)


@pytest.mark.parametrize(("share", "lossier"), [(0.99, 2.0), (0.97, 2.0), (0.97, 3.0), (0.97, 1.0)])
def test_loss_that_grew_is_told_beside_an_end_that_changed(share, lossier):
    """The end changed in a part of the band, and loss goes over all of it."""
    rng, band = np.random.default_rng(53), np.linspace(1e6, 300e6, 401)
    line = Line(28.0, 0.87, 50.0, 0.4)
    antenna = (rod(band, 145e6 * moved, 45.0, 9.0) for moved in (share, 1.0))
    wet = replace(line, conductor_db=lossier * line.conductor_db)
    swept = (foot(band, one, z) for one, z in zip((wet, line), antenna, strict=True))
    found = state(rng, band, line, *swept, loss_known=True, length_m=28.0)
    said, lost = line_verdict(found)[0], found.comparison.lost
    if lossier == 1.0:
        assert lost is None
        assert not re.search("loses|is gone", said)
    else:
        more = float(wet.loss_db_per_100m(np.array([150e6]))[0]) * (1 - 1 / lossier) * 0.28
        assert lost.more_db == pytest.approx(more, abs=2 * lost.uncertainty_db)
        assert said.startswith("The line loses")
        assert "look for old or wet cable" in said
        assert "otherwise as it was" not in said
        assert "what the line ends in (antenna, feed point)" in clauses(said)
    assert "is gone" not in said


def test_loss_that_another_end_may_hide_is_said_to_be_hidden():
    """By a narrow band, which all lies in the antenna's own, and of a line nearly as short."""
    rng, band = np.random.default_rng(54), np.linspace(140e6, 150e6, 201)
    line = Line(28.0, 0.87, 50.0, 0.4)
    antenna = (rod(band, 145e6 * moved, 45.0, 9.0) for moved in (0.97, 1.0))
    wet = replace(line, conductor_db=0.8)
    swept = (foot(band, one, z) for one, z in zip((wet, line), antenna, strict=True))
    said, fault = line_verdict(state(rng, band, line, *swept, loss_known=True, length_m=28.0))
    assert fault
    said = clauses(said)
    assert "whether the line itself loses more cannot be told beside that: sweep it" in said
    assert not re.search("no other place changed|otherwise as it was", said)
