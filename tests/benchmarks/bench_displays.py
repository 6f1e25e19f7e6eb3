"""Coverage off displays that show less, over many sessions; width beside a full display's."""

import numpy as np
import pytest

from rfcal.record.job import displays
from tests.display_sessions import Shown, coverage, sessions, spread

SESSIONS = 1000
LEAST = 0.95 - 3 * np.sqrt(0.05 * 0.95 / SESSIONS)
SHOWN = {
    "full": Shown(),
    "no sign of the device": Shown(device="unsigned"),
    "no sign at all": Shown("unsigned", "unsigned"),
    "whole ohms, no sign": Shown("unsigned", "unsigned", step_ohm=1.0),
    "|Z| and SWR of the device": Shown(device="sizes"),
    "|Z| alone": Shown(device="size"),
    "SWR alone": Shown(device="swr"),
    **{f"up to {most} ohm": Shown(most_ohm=most) for most in (200, 999, 1500, 9999)},
    "up to 999 ohm, no sign": Shown("unsigned", "unsigned", most_ohm=999.0),
}


@pytest.mark.parametrize("mhz", [3.6, 14.1, 50.0, 146.0])
@pytest.mark.parametrize("name", SHOWN)
def test_coverage(monkeypatch, name, mhz):
    monkeypatch.setattr(displays, "by_rise", lambda f, *rest: np.ones((2, f.size), bool))
    truth, found = sessions(np.random.default_rng(11), spread(mhz * 1e6, SESSIONS), SHOWN[name])
    held = coverage(truth, found)
    width = np.median(np.ptp(found[0].interval, axis=-1), axis=0)
    print(
        f"{name} at {mhz:g} MHz: R {held[0]:.1%}, X {held[1]:.1%}, {1 + bool(found[1])} answer(s); "
        f"R and X within {width[0]:.3g} and {width[1]:.3g} ohm"
    )
    assert np.all(held >= LEAST)
