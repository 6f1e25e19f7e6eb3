"""Make the demos ``tower-line`` and ``tower-line-top`` beside this file: invented, simulated.

``python data/demo/make_tower_line.py`` writes it anew, with ngspice. ``--check`` writes nothing
and exits 1 where what is there is not what would be written, numbers to 1e-6; without ngspice it
says so and passes. Nothing here uses rfcal or its formulas: circuits come from the netlists below.

A club's tower carries a 4 m antenna on some 40 m of line, in two pieces with a joint between. On
installation day the line was swept with its far end open, then shorted, then with the antenna.
This spring the sweep looked odd: the joint was damaged (line-spring). It was renewed, and the
antenna read again. Short, open and load stood at the analyzer's connector, the line's near end.
In ``tower-line-top`` they stood at the far end instead, so that the line is calibrated out: the
same antenna, reached another way.

The analyzer is a resistive bridge with strays, the same on both days. The line has R, L and C per
metre and no G. The simulator's R and L do not depend on frequency, skin effect's do: so the line
is rebuilt at every frequency with R = R0 sqrt(f / f0) and, for the field inside the conductors,
with L larger by R over angular frequency.

The standards and the line's open and short are off what the record says of them by amounts of the
size that it states, or that are usual. Every connection is off once, at the foot or at the top;
the line itself stayed on the analyzer from its open sweep to the antenna's, and every reading has
noise.
"""

import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from make_demo import LIGHT, touchstone

FOLDERS = {name: Path(__file__).parent / name for name in ("tower-line", "tower-line-top")}
SEED = 20260418
FREQUENCY = np.linspace(1e6, 160e6, 401)

Z0, VELOCITY_FACTOR, LENGTH = 51.6, 0.85, 39.8
L, C = Z0 / (VELOCITY_FACTOR * LIGHT), 1 / (Z0 * VELOCITY_FACTOR * LIGHT)  # per metre
R0, F0 = 0.45, 100e6  # ohm per metre, and the frequency where it is that
JOINT, FAULT = 23.4, {"R_series": 6.0, "R_shunt": 120.0}

BRIDGE = {"R1": 47.7, "R2": 52.4, "R3": 49.2, "C3": 1.4e-12, "Cd": 3.1e-12, "Ld": 5.3e-9}
# in series, and across the feed point: its capacitance, and a coil that drains static
ANTENNA = {"R": 38.0, "L": 0.45e-6, "C": 11.6e-12, "C_feed": 1.5e-12, "L_feed": 0.4e-6}
FAR_END = {"C_open": 15e-15, "L_short": 0.06e-9}  # what is left of an open and a soldered short

# Standard deviations, both drawn in the simulation and written into the record.
DOUBT = {"noise": 5e-4, "connection": 1e-3, "definition": 0.002, "load": 0.15, "check": 0.1}

# What is read, as a circuit at node p, and the name of its file.
READ = {
    "short": "L1 p 0 0.3n",
    "open": "C1 p 0 55f\nR1 p 0 1e15",
    "load": "R1 p 0 {load}",
    "75-ohm": "R1 p 0 {check}",
    "line-baseline": "X1 p q line\nX2 q antenna",
    "line-spring": "X1 p q damaged\nX2 q antenna",
}
# What was connected at the top of the sound line, as a circuit at node p.
TOP = {
    "line-open": "C1 p 0 {C_open}\nR1 p 0 1e15",
    "line-short": "L1 p 0 {L_short}",
    "line-load": "R1 p 0 {load}",
    "line-75-ohm": "R1 p 0 {check}",
    "antenna": "X2 p antenna",
}
# The far end's impedance is the voltage at 1 A; bridge and line are known by these.
PERFECT = {"match": "R1 p 0 50", "short": "V1 p 0 0", "mismatch": "R1 p 0 150"}

CIRCUIT = """* tower line
.model lower LTRA R=1 L={L:.16g} G=0 C={C:.16g} LEN={below:.16g} REL=1 ABS=1
.model upper LTRA R=1 L={L:.16g} G=0 C={C:.16g} LEN={above:.16g} REL=1 ABS=1
.subckt line near far
O1 near 0 joint 0 lower
O2 joint 0 far 0 upper
.ends
.subckt damaged near far
O1 near 0 joint 0 lower
R1 joint beyond {R_series}
R2 beyond 0 {R_shunt}
O2 beyond 0 far 0 upper
.ends
.subckt antenna p
R1 p q {R}
L1 q s {L_antenna}
C1 s 0 {C_antenna}
R2 s 0 1e15
C2 p 0 {C_feed}
L2 p 0 {L_feed}
.ends
.subckt bridge arm fixed p
V1 top 0 DC 0 AC 1
R1 top arm {R1}
R2 top fixed {R2}
R3 fixed 0 {R3}
C3 fixed 0 {C3}
C4 arm 0 {Cd}
L1 arm p {Ld}
.ends
I1 0 alone DC 0 AC 1
X1 alone antenna
"""


def circuit(off_ohm: dict[str, float]) -> tuple[str, list[str]]:
    """Netlist, and what to read in it: reflections, PERFECT's raw readings, the antenna.

    Reflections are those of READ, of TOP, and of PERFECT through the line.
    """
    values = FAR_END | {"load": 49.8 + off_ohm["load"], "check": 75.0 + off_ohm["check"]}
    antenna = {"L_antenna": ANTENNA["L"], "C_antenna": ANTENNA["C"]} | ANTENNA
    line = {"L": L, "C": C, "below": JOINT, "above": LENGTH - JOINT}
    blocks, wanted = [CIRCUIT.format(**antenna | FAULT | BRIDGE | line)], []
    ends = [parts.replace(" p ", " q ") for parts in PERFECT.values()]
    through = [f"X1 p q line\n{parts}" for parts in ends]
    for i, parts in enumerate([*READ.values(), *TOP.values(), *through]):
        # behind 50 ohm and 2 V, the voltage is 1 plus the reflection
        blocks.append(f".subckt read{i} p\n{parts.format(**values)}\n.ends\nXr{i} r{i} read{i}")
        blocks.append(f"Vr{i} r{i}s 0 DC 0 AC 2\nRr{i} r{i}s r{i} 50")
        wanted.append(f"v(r{i}) - 1")
    for i, parts in enumerate(PERFECT.values()):
        blocks.append(f".subckt perfect{i} p\n{parts}\n.ends\nXp{i} p{i} perfect{i}")
        blocks.append(f"Xb{i} b{i}arm b{i}fixed p{i} bridge")
        wanted.append(f"2 * (v(b{i}arm) - v(b{i}fixed))")
    return "\n".join(blocks), [*wanted, "v(alone)"]


def simulate(netlist: str, wanted: list[str]) -> np.ndarray:
    """What is wanted at every frequency, the line's R set anew for each; one row per expression."""
    lets = [f"let {part}{i} = {part}({w})" for i, w in enumerate(wanted) for part in ("re", "im")]
    names = " ".join(f"re{i} im{i}" for i in range(len(wanted)))
    steps = [".control", "set wr_singlescale", "set appendwrite", "set numdgt=15"]
    for f in FREQUENCY:
        r = R0 * np.sqrt(f / F0)
        for piece in ("lower", "upper"):
            steps.append(f"altermod {piece} R={r:.16g}")
            steps.append(f"altermod {piece} L={L + r / (2 * np.pi * f):.16g}")
        steps += [f"ac lin 1 {f:.0f} {f:.0f}", *lets, f"wrdata out.txt {names}", "destroy all"]
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "line.cir").write_text("\n".join([netlist, *steps, "quit\n.endc\n.end\n"]))
        command = ["ngspice", "-b", "line.cir"]
        subprocess.run(command, cwd=folder, capture_output=True, check=True, timeout=120)
        table = np.loadtxt(Path(folder, "out.txt"))
    return (table[:, 1::2] + 1j * table[:, 2::2]).T


def off(rng: np.random.Generator, source: str, points: int = 1) -> np.ndarray:
    """Complex normal error, the same deviation for both parts."""
    parts = rng.standard_normal((2, points))
    return DOUBT[source] * (parts[0] + 1j * parts[1])


def seen(reflection: np.ndarray, perfect: np.ndarray) -> np.ndarray:
    """What bridge or line makes of a reflection, a bilinear function, from three values of it."""
    # raw = zero + tracking * g / (1 - match * g), known at g = 0, -1 and 1/2
    zero, minus, half = perfect
    rise, fall = half - zero, minus - zero
    match = (2 * rise + fall) / (rise - fall)
    return zero - fall * (1 + match) * reflection / (1 - match * reflection)


def sweeps() -> tuple[dict[str, np.ndarray], np.ndarray]:
    """All raw sweeps by name, and the antenna's impedance [ohm]."""
    rng = np.random.default_rng(SEED)
    off_ohm = {name: DOUBT[name] * rng.standard_normal() for name in ("load", "check")}
    *found, antenna = simulate(*circuit(off_ohm))
    true = dict(zip([*READ, *TOP], found, strict=False))
    through, bridge = np.array(found[-6:-3]), np.array(found[-3:])
    for name in ("short", "open"):
        true[name] = true[name] + off(rng, "definition")
    true = {name: g + off(rng, "connection") for name, g in true.items()}
    at_foot = off(rng, "connection")
    true |= {name: seen(true[name], through) + at_foot for name in TOP}
    raw = {name: seen(g, bridge) for name, g in true.items()}
    return {name: g + off(rng, "noise", g.size) for name, g in raw.items()}, antenna


RECORD = """\
# A demo, invented and simulated: see make_tower_line.py beside this folder.
format = 1

[record]
title = "Tower feed line on 4 m, spring check"
date = 2026-04-18
by = "tower crew"
purpose = "line"
notes = "The spring sweep found a bad joint. The antenna was read again once it was renewed."
reference_ohm = 50.0

[about]
instrument = "simulated one-port analyzer, own correction off, the same on installation day"
line = "some 40 m of foam cable in two pieces with a joint; short, open and load at its foot"
before = "transmitters on the mast off, line discharged to ground, then the analyzer connected"
choke = "six ferrite cores at the feed point"

[analyzer]
noise = {noise}
connection = {connection}
drift = 0.0                    # standards and device were read within minutes

[[standard]]
name = "short"
kind = "short"
inductance = [0.3e-9]
uncertainty = {definition}
reading = "raw/short.s1p"

[[standard]]
name = "open"
kind = "open"
capacitance = [55e-15]
uncertainty = {definition}
reading = "raw/open.s1p"

[[standard]]
name = "load"
kind = "load"
resistance_ohm = 49.8          # by ohmmeter, at the plug
resistance_uncertainty_ohm = {load}
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/load.s1p"

[[check]]                      # took no part in the solution, so it can contradict it
name = "75 ohm resistor"
resistance_ohm = 75.0
resistance_uncertainty_ohm = {check}
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/75-ohm.s1p"

[[measurement]]
name = "antenna"
reading = "raw/antenna.s1p"
answer_mhz = 70.165
  [[measurement.between]]      # the line, as read on installation day
  line = "measured"
  far_end_open = "raw/line-open.s1p"
  far_end_short = "raw/line-short.s1p"

[line_check]                   # this spring, before the repair, against installation day
reading = "raw/line-spring.s1p"
velocity_factor = {velocity_factor}
velocity_factor_uncertainty = 0.005   # by its maker's sheet
baseline = "raw/line-baseline.s1p"
far_end_open = "raw/line-open.s1p"    # the line itself, from installation day
far_end_short = "raw/line-short.s1p"
"""

RECORD_TOP = """\
# A demo, invented and simulated: see make_tower_line.py beside this folder.
format = 1

[record]
title = "Antenna on 4 m, calibrated at the top of the tower"
date = 2026-04-18
by = "tower crew"
notes = "Short, open and load were connected at the top, in the antenna's place."
reference_ohm = 50.0

[analyzer]
noise = {noise}
connection = {connection}
drift = 0.0                    # standards and device were read within minutes

[[standard]]
name = "short at the top"
kind = "short"
uncertainty = {definition}
reading = "raw/line-short.s1p"

[[standard]]
name = "open at the top"
kind = "open"
uncertainty = {definition}
reading = "raw/line-open.s1p"

[[standard]]
name = "load at the top"
kind = "load"
resistance_ohm = 49.8          # by ohmmeter, at the plug
resistance_uncertainty_ohm = {load}
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/line-load.s1p"

[[check]]
name = "75 ohm resistor at the top"
resistance_ohm = 75.0
resistance_uncertainty_ohm = {check}
uncertainty = 0.0              # nothing beyond that of its resistance
reading = "raw/line-75-ohm.s1p"

[[measurement]]
name = "antenna"
reading = "raw/antenna.s1p"
answer_mhz = 70.165
"""


def files() -> dict[Path, str]:
    """Text of every file of both records."""
    raw, antenna = sweeps()
    record = RECORD.format(**DOUBT, velocity_factor=VELOCITY_FACTOR)
    foot, top = FOLDERS.values()
    made = {foot / "record.toml": record, foot / "truth.json": truth(antenna)}
    made |= {top / "record.toml": RECORD_TOP.format(**DOUBT), top / "truth.json": truth(antenna)}
    from_foot = [name for name in raw if name not in ("line-load", "line-75-ohm")]
    for folder, names in ((foot, from_foot), (top, TOP)):
        made |= {folder / f"raw/{name}.s1p": touchstone(FREQUENCY, raw[name]) for name in names}
    return made


def loss_db_per_100m(megahertz: float) -> float:
    """Matched loss, by the telegrapher's equations with G = 0."""
    w, resistance = 2e6 * np.pi * megahertz, R0 * np.sqrt(1e6 * megahertz / F0)
    return 2000 / np.log(10) * np.sqrt((resistance * (1 + 1j) + 1j * w * L) * 1j * w * C).real


def truth(antenna: np.ndarray) -> str:
    """What is known only because the readings are simulated, as JSON."""
    losses = [[f, digits(loss_db_per_100m(f))] for f in (10.0, 30.0, 70.2, 100.0, 150.0)]
    data = {
        "about": "known only because the readings are simulated; R, L, C in ohm, H, F",
        "line": {
            "z0_ohm": Z0,
            "velocity_factor": VELOCITY_FACTOR,
            "length_m": LENGTH,
            "delay_ns": digits(1e9 * LENGTH / (VELOCITY_FACTOR * LIGHT)),
            "loss_db_per_100m": losses,
            "loss_law": f"R = {R0} ohm/m * sqrt(f / {F0 / 1e6:g} MHz), as much reactance, no G",
        },
        "fault": {"distance_m": JOINT, "kind": "series, then shunt resistance in a joint", **FAULT},
        "far_end": FAR_END,
        "elements": ANTENNA,
        "bridge": BRIDGE,
        "frequency_hz": FREQUENCY.tolist(),
        "impedance_ohm": [[digits(z.real), digits(z.imag)] for z in antenna.tolist()],
    }
    lines = (f"{json.dumps(key)}: {json.dumps(value)}" for key, value in data.items())
    return "{\n" + ",\n".join(lines) + "\n}\n"


def digits(value: float) -> float:
    """Eight digits, so that the last one does not count where 1e-6 is asked for."""
    return float(f"{value:.8g}")


def same(path: Path, text: str) -> bool:
    """Whether a file holds this text, its numbers to 1e-6: of each, or of 1 in a reflection."""
    number = r"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?"
    found = path.read_text(encoding="utf-8") if path.is_file() else ""
    if re.split(number, found) != re.split(number, text):
        return False
    first, second = (np.array(re.findall(number, t), dtype=float) for t in (found, text))
    return np.allclose(first, second, rtol=1e-6, atol=1e-6 if path.suffix == ".s1p" else 0)


def main() -> int:
    """Write the record, or check the one that is there."""
    check = "--check" in sys.argv
    if shutil.which("ngspice") is None:
        print(f"ngspice is not installed: nothing was {'checked' if check else 'made'}")
        return 0 if check else 1
    made = files()
    if check:
        wrong = [path for path, text in made.items() if not same(path, text)]
        print("".join(f"{path} is not what make_tower_line.py makes\n" for path in wrong), end="")
        return 1 if wrong else 0
    for path, text in made.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
