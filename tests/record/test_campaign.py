"""A slice of the campaign of sessions with one mistake each; the whole is a benchmark."""

import numpy as np
import pytest

from tests.benchmarks.campaign.__main__ import alike, print_honest, print_summary, run
from tests.benchmarks.campaign.judging import candidates, named, outcome
from tests.benchmarks.campaign.mistakes import KINDS, other_plane
from tests.benchmarks.campaign.sessions import draw


@pytest.fixture(scope="module")
def with_protocol():
    return run(seed=5, honest=20, sessions=1, protocol=True)


def test_most_mistakes_are_found_with_the_recommended_readings(with_protocol):
    _, rows = with_protocol
    harmful = [row for row in rows if row.harmful]
    assert len(harmful) >= 15
    assert sum(row.found for row in harmful) >= 0.8 * len(harmful)


def test_honest_sessions_raise_no_alarm(with_protocol):
    honest, _ = with_protocol
    assert [twin.alarms() for _, twin in honest if twin.alarms()] == []


@pytest.mark.parametrize("tell", ["rereads", "checks"])
def test_what_reads_again_as_before_or_agrees_was_not_exchanged(tell):
    """At one frequency behind 6.5 m of cable, which turns its tracking by about half a turn."""
    honest = draw((301, 55), protocol=True)
    assert outcome(honest).alarms() == []
    (honest.checks if tell == "rereads" else honest.rereads).clear()
    assert "half-turn" not in outcome(honest).alarms()
    getattr(honest, tell).clear()
    assert "half-turn" in outcome(honest).alarms()


def test_a_velocity_factor_in_doubt_by_a_radian_leaves_a_capacitor_passive():
    assert outcome(draw((302, 493), protocol=True)).alarms() == []


def test_an_adapter_that_is_not_stated_is_told_by_what_is_read_in_the_devices_place():
    """14 mm below 68 MHz, where no point of the check is far off by itself."""
    session = draw((52, 148), protocol=True)
    wrong = other_plane(session, np.random.default_rng([52, 148, list(KINDS).index("other plane")]))
    assert wrong.how == "device, 14 mm"
    (said,) = (f.message for f in outcome(session).warned() if f.code == "check-disagrees")
    assert "if 14 mm more of line lay before 'device' than is removed, as of an adapter" in said


def test_kinds_count_alike_and_one_session_is_no_certainty():
    share, doubt = alike(np.array([3, 1]), np.array([4, 1]))
    assert share == pytest.approx((3 / 4 + 1) / 2)
    # (3 + 1)/(4 + 2) is 2/3, and so is (1 + 1)/(1 + 2)
    assert doubt == pytest.approx(np.sqrt(2 / 9 / 4 + 2 / 9) / 2)


def test_no_sessions_are_an_empty_table(capsys):
    print_honest([])
    print_summary([])
    assert "honest sessions: 0" in capsys.readouterr().out


def test_a_mistake_is_named_only_among_few():
    few = "Look at the short: look for a loose connector or a wrong definition."
    assert candidates(few) == 2
    assert named("not tight", "short", [few])
    many = "Look for exchanged sweeps, a wrong sign, a wrong value, a loose plug or a bad cable."
    assert candidates(many) == 5
    assert not named("not tight", "short", [many])
    assert not named("drift", "", [few])
