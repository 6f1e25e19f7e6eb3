"""Coverage audit: devices over the chart, every source, plain and behind lines; seeds are fixed."""

import numpy as np
import pytest
from scipy.stats import binom

from rfcal import defaults
from rfcal.maths.reflection import to_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.planning.plan import EXTRA, Length, Setup
from tests.coverage_audit import audit

SESSIONS = 10_000
FREQUENCY = np.array([70e6])
PLAIN = {kind: Standard(kind) for kind in ("short", "open", "load")}
FIVE = {**PLAIN, "25 ohm": EXTRA["25 ohm"], "offset": Standard("open", offset_delay=1.786e-9)}
LINE = Length(
    "jumper",
    Line(1.5, 0.66, 50.0, conductor_db=0.4),
    {"length": 0.003, "velocity factor": 0.002, "impedance": 0.2, "loss": 0.05},
)
BY_TYPE = {"length": 0.01, "velocity factor": 0.005, "impedance": 1.0, "loss": 0.1}


def behind(metres, cable="RG-213"):
    """A set-up behind a line that is known by its type."""
    line = Length("line", CABLES[cable].line(metres), BY_TYPE)
    return Setup(FREQUENCY, PLAIN, lines=(line,))


SETUPS = {
    "3 standards": Setup(FREQUENCY, PLAIN),
    "5 standards": Setup(FREQUENCY, FIVE),
    "typed from a display": Setup(FREQUENCY, PLAIN, resolution_ohm=0.1),
    "behind a jumper": Setup(FREQUENCY, PLAIN, lines=(LINE,)),
    "behind 2 m by type": behind(2.0),
    "behind 10 m by type": behind(10.0),
    "behind 20 m by type": behind(20.0),
    "behind 20 m that lose 5 dB": behind(20.0, "RG-174"),
    **{
        f"{build} standards at {hertz / 1e6:g} MHz": Setup(
            np.array([hertz]), {kind: Standard(kind, build=build) for kind in PLAIN}
        )
        for build in defaults.BUILT
        for hertz in (3.6e6, 30e6, 146e6, 440e6)
    },
}
CAREFUL = {
    *(name for name in SETUPS if name.endswith("by type") or "lose" in name),
    *(f"leaded standards at {megahertz} MHz" for megahertz in (146, 440)),
}
"""A doubtful turn, or a large stray, multiplies what else is doubtful and bends what is straight:
intervals may cover more than they say."""
DEVICES = {
    "match": 50,
    "51": 51,
    "49 + j2": 49 + 2j,
    "57 - j5": 57 - 5j,
    "40 + j15": 40 + 15j,
    "100 - j50": 100 - 50j,
    "10 + j80": 10 + 80j,
    "25": 25,
    "200": 200,
    "1 ohm": 1,
    "3 kilohm": 3000,
    "9950 ohm": 9950,
    **{f"0.99 at {a}": to_impedance(0.99 * np.exp(1j * np.radians(a))) for a in (0, 30, 90, 180)},
    "coil of Q 130": 0.3 + 40j,
    "coil of Q 150": 1 + 150j,
    "coil of Q 600": 0.05 + 30j,
}
CHECKED = ("region", "resistance", "reactance", "impedance_magnitude", "swr")
LEAST, MOST = 0.943, binom.ppf(1 - 1e-4, SESSIONS, 0.975) / SESSIONS


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
        name: shares[name]
        for name in CHECKED
        if shares[name] < LEAST
        or (shares[name] > MOST and not found.endless.get(name) and setup not in CAREFUL)
    }
    assert not wrong, f"allowed {LEAST:.3f} to {MOST:.3f}"
