"""Coverage audit: twelve devices over the chart, every source, judged by simultaneous limits.

Limits are binomial (Bonferroni over all checks); seeds are fixed, so a failure stays a failure.
"""

import numpy as np
import pytest
from scipy.stats import binom

from rfcal.maths.reflection import to_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.planning.coverage_audit import audit
from rfcal.planning.setup import EXTRA, Length, Setup

SESSIONS = 4000
FREQUENCY = np.array([70e6])
PLAIN = {kind: Standard(kind) for kind in ("short", "open", "load")}
FIVE = {**PLAIN, "25 ohm": EXTRA["25 ohm"], "offset": Standard("open", offset_delay=1.786e-9)}
LINE = Length(
    "jumper",
    Line(1.5, 0.66, 50.0, conductor_db=0.4),
    {"length": 0.003, "velocity factor": 0.002, "impedance": 0.2, "loss": 0.05},
)
LONG = Length(
    "feed line by its type",
    CABLES["RG-213"].line(20.0),
    {"length": 0.01, "velocity factor": 0.005, "impedance": 1.0, "loss": 0.1},
)
SETUPS = {
    "3 standards": Setup(FREQUENCY, PLAIN),
    "5 standards": Setup(FREQUENCY, FIVE),
    "behind a line": Setup(FREQUENCY, PLAIN, lines=(LINE,)),
    "behind 20 m by type": Setup(FREQUENCY, PLAIN, lines=(LONG,)),
    "typed from a display": Setup(FREQUENCY, PLAIN, typed=True),
}
CAREFUL = "behind 20 m by type"
"""Here the reflection may have turned by half a circle, which no method of ours describes well:
intervals may cover more than they say."""
DEVICES = {
    "match": 50,
    "1 ohm": 1,
    "3 kilohm": 3000,
    **{f"0.99 at {a}": to_impedance(0.99 * np.exp(1j * np.radians(a))) for a in (0, 30, 90, 180)},
    "25": 25,
    "100 - j50": 100 - 50j,
    "10 + j80": 10 + 80j,
    "200": 200,
    "57 - j5": 57 - 5j,
}
CHECKED = ("region", "resistance", "reactance", "impedance_magnitude", "swr")
CHECKS = len(SETUPS) * len(DEVICES) * len(CHECKED)
LOW, HIGH = (binom.ppf(p, SESSIONS, 0.95) for p in (0.025 / CHECKS, 1 - 0.025 / CHECKS))


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("setup", SETUPS)
def test_coverage(benchmark, setup, device):
    rng = np.random.default_rng([list(SETUPS).index(setup), list(DEVICES).index(device)])
    ohm = complex(DEVICES[device])
    found = benchmark.pedantic(
        audit, args=(SETUPS[setup], ohm, rng), kwargs={"sessions": SESSIONS}, rounds=1
    )
    shares = {name: count / SESSIONS for name, count in found.inside.items()}
    benchmark.extra_info["coverage"] = {"setup": setup, "device": device, **shares}
    wrong = {
        name: found.inside[name] / SESSIONS
        for name in CHECKED
        if found.inside[name] < LOW
        or (found.inside[name] > HIGH and not found.endless.get(name) and setup != CAREFUL)
    }
    assert not wrong, f"allowed {LOW / SESSIONS:.3f} to {HIGH / SESSIONS:.3f}"
