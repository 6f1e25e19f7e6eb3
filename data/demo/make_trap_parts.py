"""Make the demo record of parts beside this file: coil and capacitor of a trap, and a choke.

``python data/demo/make_trap_parts.py`` writes it anew; ``--check`` writes nothing and fails where
what is there is not what would be written. Like make_demo.py, whose bridge and pigtail read the
coil and the capacitor, it does not use rfcal. All is invented.

The choke lies between two ports that are not quite 50 ohm, on a way that delays and loses, beside
which a little leaks from port to port.
"""

import json
import sys

import numpy as np
from make_demo import PIGTAIL, SEED, Session, keep

FREQUENCY = 1.1e6 + 0.5e6 * np.arange(300)
CHOKE_HZ = np.round(10.1e6 * 10 ** (np.arange(-100, 81) / 100))
COIL = {"L": 2.2e-6, "C": 1.36e-12, "R_10MHz": 1.0}
CAPACITOR = {"C": 113e-12, "ESR": 0.15, "ESL": 3.1e-9}
CHOKE = {"R": 3100.0, "L": 52e-6, "C": 3.4e-12}
ISOLATION = 5e-5 - 3e-5j


def coil(w: np.ndarray) -> np.ndarray:
    """Copper wire with its skin effect, as much reactance as resistance, and own capacitance."""
    skin = COIL["R_10MHz"] * np.sqrt(w / (2 * np.pi * 10e6))
    return 1 / (1j * w * COIL["C"] + 1 / (1j * w * COIL["L"] + (1 + 1j) * skin))


def capacitor(w: np.ndarray) -> np.ndarray:
    """With what its leads add."""
    return CAPACITOR["ESR"] + 1j * w * CAPACITOR["ESL"] + 1 / (1j * w * CAPACITOR["C"])


def choke(w: np.ndarray) -> np.ndarray:
    """Eleven turns on a lossy core: all three in parallel."""
    return 1 / (1 / CHOKE["R"] + 1j * w * CHOKE["C"] + 1 / (1j * w * CHOKE["L"]))


RECORD = """\
# A demo, invented and simulated: see make_trap_parts.py beside this folder.
format = 1

[record]
title = "Parts of a trap for 10.1 MHz, and its choke"
date = 2026-06-20
by = "bench notes"
notes = "Coil and capacitor in turn at the end of a 75 cm pigtail; the choke between two ports."
reference_ohm = 50.0

[about]
instrument = "simulated analyzer, own correction off"
coil = "12 turns of 1.5 mm copper wire, 28 mm across"
choke = "11 turns of thin coaxial line on a ferrite ring"

[analyzer]
noise = 0.0004
connection = 0.001
drift = 0.0                    # standards and parts were read within minutes

[[standard]]
name = "short"
kind = "short"
inductance = [0.35e-9]
uncertainty = 0.002
reading = "raw/short.s1p"

[[standard]]
name = "open"
kind = "open"
capacitance = [60e-15]
uncertainty = 0.002
reading = "raw/open.s1p"

[[standard]]
name = "load"
kind = "load"
resistance_ohm = 49.9
resistance_uncertainty_ohm = 0.15
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/load.s1p"

[[check]]                      # took no part in the solution, so it can contradict it
name = "33 ohm resistor"
resistance_ohm = 33.0
resistance_uncertainty_ohm = 0.1
uncertainty = 0.002
reading = "raw/33-ohm.s1p"

[[measurement]]
name = "coil"
reading = "raw/coil.s1p"
answer_mhz = 10.1

[[measurement]]
name = "capacitor"
reading = "raw/capacitor.s1p"
answer_mhz = 10.1

[[measurement]]                # two ports, which see far higher than one
name = "choke"
reading = "raw/choke.s2p"
answer_mhz = 10.1

[[reread]]                     # connected once more at the end: shows what moved in between
of = "short"
reading = "raw/short-again.s1p"

[[component]]
measurement = "coil"
temperature_c = 21.0

[[component]]
measurement = "capacitor"
temperature_c = 21.0

[[component]]
measurement = "choke"
method = "series-through"
through = "raw/through.s2p"
"""


def two_ports() -> dict[str, str]:
    """The choke in series between ports of some 48 and 53 ohm, and the way without it."""
    rng, w = np.random.default_rng(SEED + 10), 2 * np.pi * CHOKE_HZ
    ports = 48.2 + 1.1j + 52.6 - 0.7j
    way = 0.93 * np.exp(-1j * w * 3.1e-9) * (1 - 0.02j)
    files = {}
    for name, z in (("through", 0 * w), ("choke", choke(w))):
        noise = rng.standard_normal((2, w.size))
        passed = way * ports / (ports + z) + ISOLATION + 0.0004 * (noise[0] + 1j * noise[1])
        back = z / (ports + z) + 0.01
        rows = zip(CHOKE_HZ, back, passed, strict=True)
        text = "\n".join(
            f"{f:.0f} {b.real:.6f} {b.imag:.6f} {p.real:.7f} {p.imag:.7f} "
            f"{p.real:.7f} {p.imag:.7f} {b.real:.6f} {b.imag:.6f}"
            for f, b, p in rows
        )
        files[f"raw/{name}.s2p"] = f"! simulated raw reading\n# Hz S RI R 50\n{text}\n"
    return files


def record() -> dict[str, str]:
    """Files of the record: one-port sweeps as make_demo.py has them, and the choke's."""
    session = Session(FREQUENCY, PIGTAIL, SEED + 9, 0.0004)
    parts = session.sweeps(33, coil=coil(session.w), capacitor=capacitor(session.w))
    told = {"about": "R, L, C in ohm, H, F", "coil": COIL, "capacitor": CAPACITOR, "choke": CHOKE}
    truth = json.dumps(told, indent=1) + "\n"
    return {"record.toml": RECORD, "truth.json": truth, **parts, **two_ports()}


if __name__ == "__main__":
    sys.exit(keep({"trap-parts": record()}, "make_trap_parts.py"))
