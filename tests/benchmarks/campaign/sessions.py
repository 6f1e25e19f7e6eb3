"""One honest session: analyzer, standards, checks, a path and a device, drawn from one seed."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.models.cables import CABLES
from tests.benchmarks.campaign.physics import (
    Box,
    Boxes,
    Coax,
    Curve,
    analyzer,
    antenna,
    impedance,
    law,
    part,
    termination,
)

RESISTORS = (12.0, 15.0, 18.0, 33.0, 39.0, 68.0, 82.0, 120.0, 150.0, 180.0, 220.0, 270.0, 300.0)
USUAL_CHECKS = (25.0, 33.0, 47.0, 75.0, 100.0, 150.0, 200.0)
TYPES = ("RG-58C", "RG-213", "RG-174", "RG-8X", "foam 10 mm", "foam 5 mm")
KEYS = {
    "reflection": "uncertainty",
    "resistance": "resistance_uncertainty_ohm",
    "inductance": "inductance_uncertainty_h",
    "capacitance": "capacitance_uncertainty_f",
    "delay": "offset_delay_uncertainty_ps",
}


@dataclass
class Reading:
    """One sweep as it is taken: what is connected, through what it is read, how it is written."""

    name: str
    connected: Curve  # at the standards' plane
    box: Boxes
    swept: np.ndarray  # the frequencies at which it is really read [Hz]
    labels: np.ndarray  # and those that are written
    noise: np.ndarray
    late: bool  # whether it is read after the standards
    after_device: bool = False
    edits: list[Callable[[np.ndarray], np.ndarray]] = field(default_factory=list)
    style: dict[str, Any] = field(default_factory=dict)  # how the file is written

    def raw(self) -> np.ndarray:
        """What the instrument gives, and what becomes of it before it is written [1]."""
        seen = self.box(self.swept).seen(self.connected(self.swept)) + self.noise
        for edit in self.edits:
            seen = edit(seen)
        return seen


@dataclass
class Session:
    """Readings by name, the tables that say what they are, and the truth."""

    seed: tuple[int, ...]
    frequency: np.ndarray
    analyzer: dict[str, float]
    readings: dict[str, Reading]
    standards: list[dict[str, Any]]
    checks: list[dict[str, Any]]
    rereads: list[dict[str, Any]]
    measurement: dict[str, Any]
    device: Curve
    path_of: str  # "", "type", "figures", "measured" or "adapter"
    path: Coax | None
    typed: str  # "", "typed" or "typed_reflection"
    kind: str  # of the device
    band: str
    adapter: Boxes | None = None
    line_check: dict[str, Any] | None = None

    @property
    def redundancy(self) -> str:
        """What could contradict the three standards."""
        four, check = len(self.standards) > 3, bool(self.checks)
        return "both" if four and check else "four" if four else "check" if check else "nothing"

    def standard_names(self) -> list[str]:
        return [item["name"] for item in self.standards]

    def again(self) -> list[str]:
        """What standards are read under once more, after the device."""
        return [item["reading"] for item in self.rereads]

    def in_its_place(self) -> list[str]:
        """What is connected in the device's place after it, with nothing taken off."""
        if self.path_of:
            return [item["name"] for item in self.checks if "at" in item]
        return self.again()


def both(rng, size) -> complex:
    """A complex number of normal parts, each of this deviation."""
    return complex(*(size * rng.standard_normal(2)))


def grid(rng, typed: bool, band: str) -> np.ndarray:
    """Frequencies [Hz] between 1.8 and 450 MHz."""
    if typed:
        return np.array([round(math.exp(rng.uniform(math.log(1.8), math.log(450))), 3) * 1e6])
    width = {"narrow": (0.005, 0.03), "middle": (0.1, 0.4), "wide": (1.0, 1.8)}[band]
    width = rng.uniform(*width)
    low, high = math.log(1.8 / (1 - width / 2)), math.log(450 / (1 + width / 2))
    middle = math.exp(rng.uniform(low, high))
    ends = np.round(middle * np.array([1 - width / 2, 1 + width / 2]), 4) * 1e6
    return np.linspace(*ends, int(rng.integers(51, 202)))


def artefact(rng, name, kind, *, way, build="connector", **figures) -> tuple[dict, Curve]:
    """The table of a standard or check, and its true reflection, drawn within what it says."""
    table: dict[str, Any] = {"name": name, "kind": kind}
    if kind == "load":
        table["resistance_ohm"] = figures["r"]
    for key, what in (("inductance", "h"), ("capacitance", "c")):
        if figures.get(what):
            table[key] = [figures[what]]
    if figures.get("delay"):
        table["offset_delay_ps"] = figures["delay"] * 1e12
    doubt = dict(defaults.BUILT[build][kind])
    if kind == "load":
        doubt["resistance"] = defaults.LOAD_RELATIVE[build] * figures["r"]
    if figures.get("delay"):
        doubt["delay"] = defaults.OFFSET_DELAY_S[build]
    if way == "reflection":
        doubt = {"reflection": round(rng.uniform(0.001, 0.004), 4)}
    stated = dict(doubt) if way == "reflection" else {}
    if way == "model":  # half as doubtful as usual, and said
        stated = {k: float(f"{rng.uniform(0.3, 0.7) * v:.3g}") for k, v in doubt.items()}
        stated.pop("reflection")
        doubt |= stated
    elif build != "connector":
        table["build"] = build
    for what, size in stated.items():
        table[KEYS[what]] = size * (1e12 if what == "delay" else 1)
    off = {what: size * rng.standard_normal() for what, size in doubt.items()}
    residual = both(rng, doubt.get("reflection", 0.0))
    true = termination(
        kind,
        r=figures.get("r", 0.0) + off.get("resistance", 0.0),
        h=figures.get("h", 0.0) + off.get("inductance", 0.0),
        c=figures.get("c", 0.0) + off.get("capacitance", 0.0),
        delay=figures.get("delay", 0.0) + off.get("delay", 0.0),
        residual=residual,
    )
    return table, true


def draw_standards(rng, frequency, way, four: bool) -> list[tuple[dict, Curve]]:
    """Short, open and load, and in some sessions a fourth."""
    build = str(rng.choice(["connector", "machined"]))
    delay = float(rng.choice([0.0, 0.0, 12e-12, 30e-12]))
    said = {"way": way, "build": build}
    load = float(rng.choice([50.0, 49.9, 50.2, 51.0]))
    found = [
        artefact(rng, "short", "short", h=float(rng.choice([0.0, 0.3e-9])), delay=delay, **said),
        artefact(rng, "open", "open", c=float(rng.choice([0.0, 50e-15])), delay=delay, **said),
        artefact(rng, "load", "load", r=load, **said),
    ]
    if four:
        middle = float(np.sqrt(frequency[0] * frequency[-1]))
        if middle > 60e6 and rng.uniform() < 0.4:  # an eighth of a wave of line before a short
            delay = round(1 / (8 * middle), 12)
            found.append(artefact(rng, "offset short", "short", delay=delay, **said))
        else:
            r = float(rng.choice([25.0, 33.0, 100.0, 150.0, 200.0]))
            found.append(artefact(rng, f"{r:g} ohm", "load", r=r, **said))
    return found


def draw_device(rng, frequency) -> tuple[str, Curve]:
    """An antenna, a coil, a capacitor, a resistor, or something near a match."""
    f0 = float(np.sqrt(frequency[0] * frequency[-1]))
    kind = str(rng.choice(["antenna", "capacitor", "coil", "resistor", "near match"]))
    if kind == "antenna":
        own = f0 * rng.uniform(0.97, 1.03)
        return kind, antenna(own, rng.uniform(12, 90), rng.uniform(4, 20), rng.uniform(0, 1))
    size = math.exp(rng.uniform(math.log(10), math.log(300)))
    if kind == "coil":
        return kind, part(f0, 0.1, size, rng.uniform(30, 150), rng.uniform(4, 12))
    if kind == "capacitor":
        return kind, part(f0, 0.1, -size, rng.uniform(100, 800), 0.0)
    if kind == "resistor":
        ohm = math.exp(rng.uniform(math.log(5), math.log(500)))
        return kind, part(f0, ohm, 1e-3 + f0 * 2 * np.pi * 2e-9, 1e3, 30.0)
    return kind, part(f0, rng.uniform(42, 60), rng.choice([-1, 1]) * rng.uniform(0.5, 8), 1e3, 30.0)


def coax_of(kind: str, length: float, **changed) -> Coax:
    """A cable as its type says."""
    cable = CABLES[kind]
    figures = {"velocity": cable.velocity_factor, "z0": cable.z0} | changed
    return Coax(length, figures["velocity"], figures["z0"], *law(cable.loss))


def draw_coax(rng, by: str, length: float) -> tuple[dict, Coax]:
    """The table of a line by type or by figures, and what it really is."""
    kind = str(rng.choice(TYPES))
    stated = coax_of(kind, length)
    table: dict[str, Any] = {"line": kind, "length_m": length}
    doubt = {"length": 0.01, "velocity": 0.01, "loss": CABLES[kind].loss_doubt, "z0": 1.0}
    if rng.uniform() < 0.7:  # measured with care
        doubt |= {"length": 0.004, "velocity": 0.004}
        table |= {"length_uncertainty_m": 0.004, "velocity_factor_uncertainty": 0.004}
    if by == "figures":
        velocity, z0 = round(rng.uniform(0.66, 0.88), 3), float(rng.choice([50.0, 50.0, 75.0]))
        stated = coax_of(kind, length, velocity=velocity, z0=z0)
        rows = [[mhz, round(float(stated.loss(mhz)), 3)] for mhz in (3.0, 30.0, 100.0, 450.0)]
        table |= {"line": "as measured", "velocity_factor": velocity, "z0_ohm": z0}
        table["loss_db_per_100m"] = rows
        doubt |= {"loss": 0.1, "z0": 0.02 * z0}
    n = rng.standard_normal(5)
    more = 1 + doubt["loss"] * n[2]
    true = Coax(
        stated.length + doubt["length"] * n[0],
        stated.velocity + doubt["velocity"] * n[1],
        stated.z0 + doubt["z0"] * n[3],
        stated.conductor * more,
        stated.dielectric * more,
        1 + defaults.SKIN_EFFECT * n[4],
    )
    return table, true


def draw_path(rng, session_typed: bool, frequency) -> tuple[str, dict, Coax, Boxes | None]:
    """What lies before the device: how it is known, its table, itself, and an adapter as filed."""
    ways = ["type", "figures", "adapter"] + ([] if session_typed else ["measured"])
    by = str(rng.choice(ways))
    if by in ("type", "figures"):
        waves = rng.uniform(0.1, 6.0)  # within what can be known by figures at all
        length = float(np.clip(waves * 200e6 / frequency[-1], 0.3, 25.0))
        table, true = draw_coax(rng, by, round(length, 2))
        return by, table, true, None
    if by == "measured":
        length = float(np.clip(rng.uniform(0.1, 4.0) * 200e6 / frequency[-1], 0.3, 20.0))
        _, true = draw_coax(rng, "type", round(length, 2))
        files = {"far_end_open": "line-open", "far_end_short": "line-short"}
        return by, {"line": "measured", **files}, true, None
    true = Coax(rng.uniform(0.02, 0.08), rng.uniform(0.66, 0.9), rng.uniform(42, 60), 0.5, 0.02)
    off = [both(rng, defaults.PATH["adapter"]) for _ in range(2)]
    gain = 1 + both(rng, defaults.PATH["adapter"])

    def filed(f):
        box = true(f)
        return Box(box.s11 + off[0], box.s21s12 * gain**2, box.s22 + off[1])

    return by, {"adapter": "adapter.s2p"}, true, filed


class Bench:
    """Takes the readings of a session one after the other, each with draws of its own."""

    def __init__(self, rng, frequency, worth: dict[str, float], box: Boxes):
        self.rng, self.frequency, self.worth, self.box = rng, frequency, worth, box
        self.readings: dict[str, Reading] = {}

    def connection(self) -> complex:
        return both(self.rng, self.worth["connection"])

    def read(self, name: str, true: Curve, *, late=True, after_device=False, swept=None) -> None:
        """Connect something at the plane, and read it; late readings see a drift of their own."""
        rng, raw = self.rng, self.box
        swept = self.frequency if swept is None else swept
        size = self.worth["drift"] if late else 0.0
        d, m, t = (both(rng, size) for _ in range(3))
        off = self.connection()

        def drifted(f):
            box = raw(f)
            return Box(box.s11 + d, box.s21s12 * (1 + t), box.s22 + m)

        parts = rng.standard_normal((2, swept.size)) * self.worth["noise"]
        self.readings[name] = Reading(
            name,
            lambda f: true(f) + off,
            drifted,
            swept,
            swept.copy(),
            parts[0] + 1j * parts[1],
            late,
            after_device,
        )


def draw(seed: tuple[int, ...], protocol: bool = False) -> Session:
    """An honest session; with the protocol all extra readings are taken that it recommends."""
    rng = np.random.default_rng(seed)
    style = "" if rng.uniform() > 0.2 else str(rng.choice(["typed", "typed_reflection"]))
    band = "one" if style else str(rng.choice(["narrow", "middle", "wide"]))
    frequency = grid(rng, bool(style), band)
    way = str(rng.choice(["reflection", "model", "defaults"]))
    four, checked, late = rng.uniform() < 1 / 3, rng.uniform() < 2 / 3, rng.uniform() < 0.5
    standards = draw_standards(rng, frequency, way, four and not protocol)
    worth = {"noise": round(float(rng.uniform(0.0003, 0.001)), 5), "connection": 0.001}
    bench = Bench(rng, frequency, worth | {"drift": 0.0005}, draw_box(rng))
    for table, true in standards:
        bench.read(table["name"], true, late=False)
    kind, device = draw_device(rng, frequency)
    path_of, between, path, filed = "", {}, None, None
    if rng.uniform() < 1 / 3:
        path_of, between, path, filed = draw_path(rng, bool(style), frequency)
    if path_of == "measured":
        read_far_ends(bench, path)
    other = str(rng.choice(["machined", "connector"]))
    choice = RESISTORS if protocol or rng.uniform() < 0.4 else USUAL_CHECKS
    ohm = float(rng.choice(choice))
    check = artefact(rng, "check", "load", way="reflection" if other == "machined" else way, r=ohm)
    bench.read("check", check[1], late=late, after_device=late)
    own = (
        bench.connection() if path is not None else 0
    )  # behind the path; before it there is another
    seen_at = swept_by_device(rng, frequency, bool(path_of))
    bench.read("device", behind(path, lambda f: device(f) + own), swept=seen_at)
    checks = [check[0]] if checked or protocol else []
    rereads = []
    if protocol:
        bench.read("short again", standards[0][1], after_device=True)
        rereads.append({"of": "short", "reading": "short again"})
    if protocol and path is not None:
        known, true = artefact(rng, "at the end", "load", way="defaults", r=120.0)
        again = bench.connection()
        seen = behind(path, lambda f: true(f) + again)
        bench.read("at the end", seen, after_device=True, swept=seen_at)
        checks.append(known | {"at": "device"})
    if not checks:
        del bench.readings["check"]
    measurement: dict[str, Any] = {"name": "device"}
    if rng.uniform() < 0.5:
        measurement["answer_mhz"] = float(rng.choice(seen_at)) / 1e6
    if between:
        measurement["between"] = [between]
    return Session(
        seed=seed,
        frequency=frequency,
        analyzer=worth,
        readings=bench.readings,
        standards=[table for table, _ in standards],
        checks=checks,
        rereads=rereads,
        measurement=measurement,
        device=device,
        path_of=path_of,
        path=path,
        typed=style,
        kind=kind,
        band=band,
        adapter=filed,
    )


def draw_box(rng) -> Boxes:
    """An analyzer, in three of ten sessions with a cable before the standards' plane."""
    raw, lead = analyzer(rng), rng.uniform() < 0.3
    length, kind = rng.uniform(0.5, 12.0), str(rng.choice(TYPES))
    if not lead:
        return raw
    cable = coax_of(kind, length)
    return lambda f: raw(f).then(cable(f))


def swept_by_device(rng, frequency, behind_path: bool) -> np.ndarray:
    """The device's frequencies: mostly those of the standards, else coarser ones within them."""
    other = rng.uniform() < 0.1
    step = (frequency[-1] - frequency[0]) / max(frequency.size - 1, 1)
    wide = step > 0.5e6  # error terms may turn too far between points, by a lead before the plane
    if not other or frequency.size == 1 or wide or behind_path:
        return frequency
    ends = frequency[[0, -1]] + np.array([0.1, -0.1]) * (frequency[-1] - frequency[0])
    return np.linspace(*ends, int(rng.integers(21, 41)))


def behind(path: Coax | None, true: Curve) -> Curve:
    """What is seen at the plane of something behind a path."""
    return true if path is None else lambda f: path(f).seen(true(f))


def read_far_ends(bench: Bench, path: Coax) -> None:
    """Sweeps of the path itself, its far end open and short."""
    for name, end in (("line-open", 1.0), ("line-short", -1.0)):
        far = end + both(bench.rng, defaults.PATH["far end"])
        bench.read(name, behind(path, lambda f, far=far: far + 0j * f))


def truth(session: Session, frequency: np.ndarray) -> np.ndarray:
    """The device's impedance [ohm] at some frequencies [Hz]."""
    return impedance(session.device(frequency))
