"""Make three demo records beside this file: all invented, all simulated, so the truth is known.

``python data/demo/make_demo.py`` writes them anew; ``--check`` writes nothing and fails where
what is there is not what would be written. Neither uses rfcal: the demo must not be made with
the formulas that it is there to check.

The analyzer is a resistive bridge with strays: a divider R1 into the device (with C at its node
and L in the lead) beside a fixed divider R2, R3 (with C). Twice the difference of their voltages
over the bridge's own is the reflection for a perfect bridge, and a bilinear function of it for
this one. Lines have R, L and C per metre and no G, so that a circuit simulator can do the same.

Every standard is off its definition by a random amount of the size that its record states, every
connection likewise, and every reading has noise: an honest 95 % interval must hold the truth.
"""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent
LIGHT = 299_792_458.0
SEED = 20260516

BRIDGE = {"R1": 48.2, "R2": 51.3, "R3": 49.6, "C3": 2.2e-12, "Cd": 1.6e-12, "Ld": 4.1e-9}


@dataclass(frozen=True)
class Cable:
    """A uniform line: impedance [ohm], velocity factor, series resistance [ohm/m], length [m]."""

    z0: float
    velocity_factor: float
    resistance: float
    length: float

    @property
    def inductance(self) -> float:
        """Henry per metre."""
        return self.z0 / (self.velocity_factor * LIGHT)

    @property
    def capacitance(self) -> float:
        """Farad per metre."""
        return 1 / (self.z0 * self.velocity_factor * LIGHT)

    def input_impedance(self, w: np.ndarray, load: np.ndarray) -> np.ndarray:
        """Telegrapher's equations with G = 0, for a finite load [ohm]."""
        series, shunt = self.resistance + 1j * w * self.inductance, 1j * w * self.capacitance
        zc, t = np.sqrt(series / shunt), np.tanh(np.sqrt(series * shunt) * self.length)
        return zc * (load + zc * t) / (zc + load * t)


PIGTAIL = Cable(50.0, 0.695, 0.55, 0.75)
TOWER_LINE = Cable(50.8, 0.85, 0.36, 31.5)


def raw_reading(frequency: np.ndarray, load: np.ndarray, cable: Cable) -> np.ndarray:
    """What the analyzer shows of a load at the far end of a cable, without noise."""
    w = 2 * np.pi * frequency
    branch = 1j * w * BRIDGE["Ld"] + cable.input_impedance(w, load)
    device = 1 / (1 + BRIDGE["R1"] * (1j * w * BRIDGE["Cd"] + 1 / branch))
    fixed = 1 / (1 + BRIDGE["R2"] * (1 / BRIDGE["R3"] + 1j * w * BRIDGE["C3"]))
    return 2 * (device - fixed)


def to_reflection(z: np.ndarray) -> np.ndarray:
    """Reflection coefficient in 50 ohm."""
    return (z - 50) / (z + 50)


def to_impedance(g: np.ndarray) -> np.ndarray:
    """Impedance [ohm] of a reflection coefficient in 50 ohm."""
    return 50 * (1 + g) / (1 - g)


# What each artefact truly is, before its own random error: impedance over angular frequency.
SHORT_L, OPEN_C = 0.35e-9, 60e-15
COIL = {"R": 2.4, "L": 0.66e-6, "C": 44.76e-12}
ANTENNA = {"R": 31.0, "L": 1.2e-6, "C": 4.33e-12, "C_feed": 1.8e-12}
WHIP = {"R": 14.0, "L": 1.5e-6, "C": 17.1e-12, "C_feed": 3e-12}


def coil_impedance(w: np.ndarray) -> np.ndarray:
    """Coil with its loss and its series tuning capacitor."""
    return COIL["R"] + 1j * w * COIL["L"] + 1 / (1j * w * COIL["C"])


def antenna_impedance(w: np.ndarray, of: dict[str, float] = ANTENNA) -> np.ndarray:
    """Antenna near resonance, with the capacitance of its feed point across."""
    series = of["R"] + 1j * w * of["L"] + 1 / (1j * w * of["C"])
    return 1 / (1 / series + 1j * w * of["C_feed"])


ARTEFACTS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "short": lambda w: 1j * w * SHORT_L,
    "open": lambda w: 1 / (1j * w * OPEN_C),
    "load": lambda w: 49.9 + 0 * w,
    "sensor": coil_impedance,
    "antenna": antenna_impedance,
    "whip": lambda w: antenna_impedance(w, WHIP),
}


class Session:
    """One session: every connection and every definition drawn once, noise at every point."""

    def __init__(self, frequency: np.ndarray, cable: Cable, seed: int, noise: float):
        self.frequency, self.cable, self.noise = frequency, cable, noise
        self.w = 2 * np.pi * frequency
        self.rng = np.random.default_rng(seed)

    def off(self, deviation: float, points: int = 1) -> np.ndarray:
        """Complex normal error, the same deviation for both parts."""
        parts = self.rng.standard_normal((2, points))
        return deviation * (parts[0] + 1j * parts[1])

    def read(self, impedance: np.ndarray, definition: float, connection: float) -> np.ndarray:
        """One raw sweep of an artefact whose definition and connection are off at random."""
        return self.connect(to_reflection(impedance) + self.off(definition), connection)

    def connect(self, true: np.ndarray, connection: float) -> np.ndarray:
        """One raw sweep of an artefact that truly reflects this, its connection off at random."""
        seen = to_impedance(true + self.off(connection))
        shown = raw_reading(self.frequency, seen, self.cable)
        return shown + self.off(self.noise, shown.size)

    def sweeps(self, check: float, **devices: np.ndarray) -> dict[str, str]:
        """Raw sweeps of standards, a check of so many ohm, devices, and the short once more."""
        one = np.ones(self.w.size)
        load = 49.9 + 0.15 * self.rng.standard_normal()
        resistor = check + 0.1 * self.rng.standard_normal()
        short = to_reflection(ARTEFACTS["short"](self.w)) + self.off(0.002)
        read = {
            "short": self.connect(short, 0.001),
            "open": self.read(ARTEFACTS["open"](self.w), 0.002, 0.001),
            "load": self.read(load * one, 0, 0.001),
            f"{check:g}-ohm": self.read(resistor * one, 0.002, 0.001),
            **{name: self.read(impedance, 0, 0.001) for name, impedance in devices.items()},
            "short-again": self.connect(short, 0.001),
        }
        return {f"raw/{name}.s1p": touchstone(self.frequency, g) for name, g in read.items()}


COIL_RECORD = """\
# A demo, invented and simulated: see make_demo.py beside this folder.
format = 1

[record]
title = "Moisture sensor: coil with its tuning capacitor"
date = 2026-03-07
by = "bench notes"
notes = "Typed off the display, through a 75 cm pigtail; short, open and load at its end."
reference_ohm = 50.0

[about]
instrument = "simulated one-port analyzer, own correction off"
kit = "plug with a soldered short, an empty plug, two 100 ohm resistors on a plug by ohmmeter"
place = "end of the pigtail"

[analyzer]
noise = 0.0003
connection = 0.0005
drift = 0.0                    # standards and device were read within minutes
resolution_ohm = 0.1

[[standard]]
name = "short"
kind = "short"
inductance = [0.35e-9]
uncertainty = 0.001
typed = {short}

[[standard]]
name = "open"
kind = "open"
capacitance = [60e-15]
uncertainty = 0.001
typed = {open}

[[standard]]
name = "load"
kind = "load"
resistance_ohm = 49.9
resistance_uncertainty_ohm = 0.1
uncertainty = 0.0              # nothing beyond that of its resistance
typed = {load}

[[check]]                      # took no part in the solution, so it can contradict it
name = "33 ohm resistor"
resistance_ohm = 33.0
resistance_uncertainty_ohm = 0.1
uncertainty = 0.001
typed = {check}

[[measurement]]
name = "sensor"
typed = {device}

[[reread]]                     # connected once more at the end: shows what moved in between
of = "short"
typed = {again}
"""

KIT = """\
[analyzer]
noise = 0.0005
connection = 0.001
drift = 0.0                    # standards and device were read within minutes

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
resistance_ohm = 49.9          # by ohmmeter, at the plug
resistance_uncertainty_ohm = 0.15
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/load.s1p"
"""
"""The analyzer and the standards of the sweeps."""
AGAIN = """\
[[reread]]                     # connected once more at the end: shows what moved in between
of = "short"
reading = "raw/short-again.s1p"
"""

BEACON_RECORD = (
    """\
# A demo, invented and simulated: see make_demo.py beside this folder.
format = 1

[record]
title = "Beacon antenna on 4 m, spring check"
date = 2026-05-16
by = "station crew"
notes = "Short, open and load were connected at the top of the tower, in the antenna's place."
reference_ohm = 50.0

[about]
instrument = "simulated one-port analyzer at the foot of the tower, own correction off"
line = "31.5 m of foam cable, inside the calibration"
choke = "six ferrite cores at the feed point"
weather = "dry, 14 degrees, light wind"

"""
    + KIT
    + """
[[check]]                      # took no part in the solution, so it can contradict it
name = "75 ohm resistor"        # of another make than the load, measured by itself
resistance_ohm = 75.0
resistance_uncertainty_ohm = 0.1
uncertainty = 0.002
reading = "raw/75-ohm.s1p"

[[measurement]]
name = "antenna"
reading = "raw/antenna.s1p"
answer_mhz = 70.2

"""
    + AGAIN
    + """
[match]                        # what to build between the antenna and the line
measurement = "antenna"
frequency_mhz = 70.2
band_mhz = [69.9, 70.5]
power_w = 50.0
series = "E12"
"""
)

WHIP_RECORD = (
    """\
# A demo, invented and simulated: see make_demo.py beside this folder.
format = 1

[record]
title = "Whip on a car, too short for 10 m"
date = 2026-06-13
notes = "Short, open and load were connected at the foot of the whip, in its place."

[about]
instrument = "simulated one-port analyzer, own correction off, behind a pigtail of 75 cm"

"""
    + KIT
    + """
[[check]]                      # took no part in the solution, so it can contradict it
name = "15 ohm resistor"
resistance_ohm = 15.0
resistance_uncertainty_ohm = 0.1
uncertainty = 0.002
reading = "raw/15-ohm.s1p"

[[measurement]]
name = "whip"
reading = "raw/whip.s1p"
answer_mhz = 28.4

"""
    + AGAIN
    + """
[match]                        # what to build between the whip and its cable
measurement = "whip"
frequency_mhz = 28.4
band_mhz = [28.3, 28.5]
power_w = 50.0
series = "E12"
"""
)


def sensor_coil() -> dict[str, str]:
    """Files of the bench record: typed readings at one frequency."""
    session = Session(np.array([27.12e6]), PIGTAIL, SEED, 0.0003)
    short = to_reflection(ARTEFACTS["short"](session.w)) + session.off(0.001)
    readings = {
        "short": session.connect(short, 0.0005),
        "open": session.read(ARTEFACTS["open"](session.w), 0.001, 0.0005),
        "load": session.read(49.9 + 0.1 * session.rng.standard_normal(1), 0, 0.0005),
        "check": session.read(33.0 + 0.1 * session.rng.standard_normal(1), 0.001, 0.0005),
        "device": session.read(coil_impedance(session.w), 0, 0.0005),
        "again": session.connect(short, 0.0005),
    }
    shown = {name: to_impedance(g)[0] for name, g in readings.items()}
    typed = {name: f"[[27.12, {z.real:.1f}, {z.imag:.1f}]]" for name, z in shown.items()}
    truth = _truth(session.frequency, coil_impedance(session.w), COIL, PIGTAIL)
    return {"record.toml": COIL_RECORD.format(**typed), "truth.json": truth}


def beacon_antenna() -> dict[str, str]:
    """Files of the tower record: sweeps through the line, standards at its far end."""
    session = Session(np.linspace(69e6, 72e6, 201), TOWER_LINE, SEED + 1, 0.0005)
    antenna = antenna_impedance(session.w)
    files = session.sweeps(75, antenna=antenna)
    truth = _truth(session.frequency, antenna, ANTENNA, TOWER_LINE)
    return {"record.toml": BEACON_RECORD, "truth.json": truth, **files}


def car_whip() -> dict[str, str]:
    """Files of the whip's record: sweeps through a pigtail, standards at its end."""
    session = Session(np.linspace(28e6, 29e6, 51), PIGTAIL, SEED + 2, 0.0005)
    whip = antenna_impedance(session.w, WHIP)
    truth = _truth(session.frequency, whip, WHIP, PIGTAIL)
    return {"record.toml": WHIP_RECORD, "truth.json": truth, **session.sweeps(15, whip=whip)}


def _truth(frequency, impedance, elements, cable) -> str:
    data = {
        "about": "known only because the readings are simulated; R, L, C in ohm, H, F",
        "elements": elements,
        "cable": vars(cable),
        "bridge": BRIDGE,
        "frequency_hz": [round(f, 3) for f in frequency.tolist()],
        "impedance_ohm": [[round(z.real, 6), round(z.imag, 6)] for z in impedance.tolist()],
    }
    return (
        "{\n" + ",\n".join(f"{json.dumps(k)}: {json.dumps(v)}" for k, v in data.items()) + "\n}\n"
    )


def touchstone(frequency: np.ndarray, reflection: np.ndarray) -> str:
    """One raw sweep as a Touchstone file."""
    rows = (
        f"{f:.0f} {g.real:.7f} {g.imag:.7f}" for f, g in zip(frequency, reflection, strict=True)
    )
    return "! simulated raw reading\n# Hz S RI R 50\n" + "\n".join(rows) + "\n"


def keep(records: dict[str, dict[str, str]], script: str) -> int:
    """Write records, or with ``--check`` count as 1 what differs from those that are there."""
    differ = 0
    for name, files in records.items():
        for relative, text in files.items():
            path = FOLDER / name / relative
            if "--check" in sys.argv:
                if not path.is_file() or path.read_text(encoding="utf-8") != text:
                    differ = 1
                    print(f"{path} is not what {script} makes")
            else:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8", newline="\n")
    return differ


if __name__ == "__main__":
    made = {
        "sensor-coil": sensor_coil(),
        "beacon-antenna": beacon_antenna(),
        "car-whip": car_whip(),
    }
    sys.exit(keep(made, "make_demo.py"))
