"""The kinds of mistake: each changes a session, and says what is wrong and in which words.

A function takes a session and a generator, changes the session and returns what it did.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.campaign import sessions
from tests.benchmarks.campaign.physics import LIGHT, Box, analyzer, impedance, reflected
from tests.benchmarks.campaign.physics import termination as end_of
from tests.benchmarks.campaign.sessions import Reading, Session

FOOT = 0.3048


@dataclass(frozen=True)
class Wrong:
    """What was done to a session."""

    how: str  # in short, for the table of sessions
    fault: str = ""  # the artefact at fault, where it is one
    traceless: bool = False  # nothing in any other reading can contradict it
    misplaced: bool = False  # all frequencies are wrong, so any answer is
    points: np.ndarray | None = None  # frequencies [Hz] that are wrong alone


Act = Callable[[Session, np.random.Generator], Wrong]


def swept(session: Session) -> bool:
    return session.frequency.size > 1


def anything(session: Session) -> bool:
    return True


def by_figures(session: Session) -> bool:
    return session.path_of in ("type", "figures")


def from_then_on(session: Session, change: Callable[[Box, np.ndarray], Box]) -> None:
    """Change the analyzer for all that is read after the standards."""
    for reading in session.readings.values():
        if reading.late:
            put(reading, change)


def put(reading: Reading, change: Callable[[Box, np.ndarray], Box]) -> None:
    before = reading.box
    reading.box = lambda f: change(before(f), f)


def alter(reading: Reading, change) -> None:
    """Change what is connected: `change` makes of its reflection and the frequency a new one."""
    before = reading.connected
    reading.connected = lambda f: change(before(f), f)


def some_standard(session: Session, rng) -> str:
    return str(rng.choice(session.standard_names()))


def one_or_all(session: Session, rng) -> tuple[str, list[Reading]]:
    """All readings, the device's or those of one standard; whose it is."""
    who = str(rng.choice(["all", "device", "standard"]))
    if who == "all":
        return "", list(session.readings.values())
    name = "device" if who == "device" else some_standard(session, rng)
    return name, [session.readings[name]]


# On the bench


def cable_flexed(session, rng):
    degrees = rng.uniform(2, 10) * rng.choice([-1, 1])
    top = session.frequency[-1]

    def bent(box, f):
        turn = np.exp(1j * np.radians(degrees) * f / top)
        return Box(box.s11, box.s21s12 * turn, box.s22 * turn)

    from_then_on(session, bent)
    return Wrong(f"{degrees:.1f} degrees")


def drift(session, rng):
    size = rng.uniform(0.008, 0.04)
    d, m, t = size * np.exp(2j * np.pi * rng.uniform(size=3))
    from_then_on(session, lambda box, f: Box(box.s11 + d, box.s21s12 * (1 + t), box.s22 + m))
    return Wrong(f"by {size:.3f}")


def other_plane(session, rng):
    metres, who = rng.uniform(0.01, 0.03), str(rng.choice(["standards", "one", "device"]))
    fault = some_standard(session, rng) if who == "one" else "device" if who == "device" else ""
    placed = session.in_its_place()  # is read through what was left there, or without it
    with_standards = [name for name in session.again() if name not in placed]
    names = [fault] if fault else [*session.standard_names(), *with_standards]
    if who == "device":
        names += placed
    for name in names:
        alter(session.readings[name], lambda x, f: x * np.exp(-4j * np.pi * f * metres / LIGHT))
    return Wrong(f"{who}, {1000 * metres:.0f} mm", fault, traceless=who == "device" and not placed)


def not_tight(session, rng):
    name, ohm = some_standard(session, rng), rng.uniform(1, 20)
    farad_ohm, middle = rng.uniform(2, 60), float(np.median(session.frequency))
    ways = ["resistance", "capacitance"] + (["jump", "ripple"] if swept(session) else [])
    way = str(rng.choice(ways))
    step, waves = rng.uniform(0.2, 0.8), rng.uniform(2, 8)

    def series(f):
        along = np.linspace(0, 1, f.size)
        return {
            "resistance": ohm + 0 * f,
            "capacitance": -1j * farad_ohm * middle / f,
            "jump": ohm * (along > step),
            "ripple": ohm * (1 + np.sin(2 * np.pi * waves * along)) / 2,
        }[way]

    alter(session.readings[name], lambda x, f: reflected(impedance(x) + series(f)))
    return Wrong(f"{name}, {way}", name)


def no_load(session, rng):
    open_end = end_of("open", c=rng.uniform(10e-15, 60e-15))
    session.readings["load"].connected = open_end
    return Wrong("open", "load")


def wrong_load_value(session, rng):
    ohm = float(rng.choice([75.0, 25.0, 100.0, 54.0]))
    session.readings["load"].connected = end_of("load", r=ohm)
    return Wrong(f"{ohm:g} ohm used", "load")


def same_standard_twice(session, rng):
    one, other = (str(n) for n in rng.choice(session.standard_names(), 2, replace=False))
    source, target = session.readings[one], session.readings[other]
    target.connected = source.connected
    how = "read twice"
    if rng.uniform() < 0.5:
        target.noise, target.box, how = source.noise, source.box, "copied"
    return Wrong(f"{one} as {other}, {how}", other)


def device_as_standard(session, rng):
    name = some_standard(session, rng)
    source, target = session.readings["device"], session.readings[name]
    target.connected, target.noise, target.box = source.connected, source.noise, source.box
    target.labels, target.swept = source.labels, source.swept
    return Wrong(f"as {name}", name)


def load_as_check(session, rng):
    source, target = session.readings["load"], session.readings["check"]
    target.connected = source.connected
    table = next(item for item in session.checks if item["name"] == "check")
    right = rng.uniform() < 0.5
    if right:
        load = next(item for item in session.standards if item["name"] == "load")
        table["resistance_ohm"] = load["resistance_ohm"]
    if rng.uniform() < 0.5:
        target.noise, target.box = source.noise, source.box
    return Wrong("its own value" if right else "another value", "check")


def stale_device(session, rng):
    session.readings["device"].box = analyzer(rng)
    return Wrong("other error terms", "device", traceless=True)


def self_corrected(session, rng):
    who = str(rng.choice(["device", "standards", "all"]))
    d, m, t = 0.012 * np.exp(2j * np.pi * rng.uniform(size=3))
    for reading in session.readings.values():
        early = not reading.late
        since = reading.name == "device" or reading.after_device
        if who == "all" or (early if who == "standards" else since):
            reading.box = lambda f: Box(d + 0 * f, 1 + t + 0 * f, m + 0 * f)
    return Wrong(who, "device" if who == "device" else "")


def interference(session, rng):
    name = str(rng.choice([*session.standard_names(), "device"]))
    reading, count = session.readings[name], int(rng.integers(1, 6))
    near = rng.uniform() < 0.5  # next to each other, or anywhere
    first = int(rng.integers(0, reading.swept.size - count))
    at = first + np.arange(count) if near else rng.choice(reading.swept.size, count, replace=False)
    size = rng.uniform(0.02, 0.3) * np.exp(2j * np.pi * rng.uniform(size=count))
    reading.noise[at] += size
    return Wrong(f"{name}, {count} points by {abs(size[0]):.2f}", name, points=reading.swept[at])


# In files and by hand


def exchanged(one: str, other: str) -> Act:
    def act(session, rng):
        a, b = session.readings[one], session.readings[other]
        for what in ("connected", "box", "noise"):
            mine, theirs = getattr(a, what), getattr(b, what)
            setattr(a, what, theirs)
            setattr(b, what, mine)
        return Wrong("exchanged")

    return act


def frequency_unit(session, rng):
    if session.typed:
        unit, per, how = "MHz", 1e3, "kHz typed as MHz"
    else:
        units = (("MHz", 1e3, "kHz as MHz"), ("Hz", 1e6, "MHz as Hz"), ("Hz", 1e3, "kHz as Hz"))
        unit, per, how = units[int(rng.integers(3))]
    fault, readings = one_or_all(session, rng)
    for reading in readings:
        reading.style |= {"unit": unit, "unit_hz": per}
    return Wrong(f"{fault or 'all'}, {how}", fault, misplaced=not fault)


def grid_shifted(session, rng):
    name = str(rng.choice(["device", some_standard(session, rng)]))
    reading, labels = session.readings[name], rng.uniform() < 0.5
    f = reading.labels
    steps = int(rng.integers(2, max(3, f.size // 10 + 1)))
    by = steps * (f[1] - f[0]) if swept(session) else f[0] * rng.uniform(0.01, 0.05)
    by = by * rng.choice([-1, 1])
    if labels:
        reading.labels = f + by
    else:
        reading.swept = f + by
    # labels tell where they leave the standards' own
    own = name == "device" and not (labels and same_grid_as_standards(session))
    alone = own and session.band in ("one", "narrow")
    return Wrong(f"{name}, {'labels' if labels else 'sweep'}", name, traceless=alone)


def sweep_order(session, rng):
    way = str(rng.choice(["one descending", "all descending", "two lines", "data reversed"]))
    name = str(rng.choice(["device", some_standard(session, rng)]))
    reading = session.readings[name]
    if way == "data reversed":
        reading.edits.append(lambda x: x[::-1])
    elif way == "two lines":
        order = np.arange(reading.labels.size)
        at = int(rng.integers(0, order.size - 1))
        order[[at, at + 1]] = order[[at + 1, at]]
        reading.style["order"] = order
    else:
        for item in session.readings.values() if way == "all descending" else [reading]:
            item.style["order"] = np.arange(item.labels.size)[::-1]
    fault = "" if way == "all descending" else name
    return Wrong(f"{name}, {way}", fault)


def reference_75(session, rng):
    fault, readings = one_or_all(session, rng)
    for reading in readings:
        reading.style["z_ref"] = 75
    return Wrong(fault or "all", fault)


def sign_lost(session, rng):
    whole = rng.uniform() < 0.5
    # then it is the device's own file conjugated
    below = not whole and bool(np.all(session.readings["device"].raw().imag < 0))
    for reading in session.readings.values() if whole else [session.readings["device"]]:
        reading.edits.append(upper_half)
        if not session.typed:
            reading.style["form"] = "csv"
    alone = below and session.band in ("one", "narrow")
    return Wrong("all" if whole else "device", "" if whole else "device", traceless=alone)


def upper_half(x):
    """Reflections whose X has lost its sign."""
    z = impedance(x)
    return reflected(z.real + 1j * np.abs(z.imag))


def conjugated(session, rng):
    fault, readings = one_or_all(session, rng)
    for reading in readings:
        reading.edits.append(np.conj)
    alone = fault == "device" and session.band in ("one", "narrow")
    return Wrong(fault or "all", fault, traceless=alone)


def number_format(session, rng):
    fault, readings = one_or_all(session, rng)
    numbers, said = (("DB", "MA"), ("MA", "DB"), ("MA radians", "MA"))[int(rng.integers(3))]
    way = "radians" if "radians" in numbers else f"{numbers} as {said}"
    for reading in readings:
        reading.style |= {"numbers": numbers, "said": said, "typed": MISTYPED[way]}
    return Wrong(f"{fault or 'all'}, {way}", fault)


MISTYPED = {
    "DB as MA": lambda size, angle: (round(20 * np.log10(max(size, 1e-3)), 1), angle),
    "MA as DB": lambda size, angle: (round(10 ** (size / 20), 3), angle),
    "radians": lambda size, angle: (size, round(np.radians(angle), 2)),
}
"""What is typed of a magnitude and an angle instead."""


def s21_for_s11(session, rng):
    name = "device" if rng.uniform() < 0.7 else some_standard(session, rng)
    reading, delay = session.readings[name], rng.uniform(0.1e-9, 1e-9)
    ohm = impedance(reading.connected(reading.swept))
    through = 0.95 * 100 / (100 + ohm) * np.exp(-2j * np.pi * reading.swept * delay)
    if not session.typed and rng.uniform() < 0.5:
        reading.style |= {"form": "two-port", "s21": through}
        return Wrong(f"{name}, two-port file", name)
    reading.edits.append(lambda x: through + reading.noise)
    alone = name == "device" and session.band in ("one", "narrow")
    return Wrong(f"{name}, one-port file", name, traceless=alone)


# What is said of a path


def cable_type(session, rng):
    between = session.measurement["between"][0]
    if session.path_of == "type":
        true = between["line"]
        others = [t for t in sessions.TYPES if t != true]
        between["line"] = str(rng.choice(others))
        return Wrong(f"{between['line']} for {true}")
    fast = between["velocity_factor"] > 0.75
    between["velocity_factor"] = 0.66 if fast else round(float(rng.uniform(0.8, 0.87)), 2)
    return Wrong(f"velocity factor {between['velocity_factor']}")


def feet(session, rng):
    between, up = session.measurement["between"][0], rng.uniform() < 0.5
    length = between["length_m"]
    between["length_m"] = round(length / FOOT if up else length * FOOT, 3)
    return Wrong("feet as metres" if up else "metres as feet")


def loss_too_high(session, rng):
    between, megahertz = session.measurement["between"][0], (3.0, 30.0, 100.0, 450.0)
    if "loss_db_per_100m" not in between:
        cable = sessions.coax_of(between["line"], 1.0)
        between["loss_db_per_100m"] = [[mhz, round(float(cable.loss(mhz)), 3)] for mhz in megahertz]
        between["loss_uncertainty_percent"] = 10.0
    rows = [[mhz, round(db / FOOT, 3)] for mhz, db in between["loss_db_per_100m"]]
    between["loss_db_per_100m"] = rows
    return Wrong("times 3.28")


def too_much_removed(session, rng):
    between = session.measurement["between"][0]
    between["length_m"] = round(between["length_m"] * rng.uniform(1.15, 2) + 0.2, 2)
    return Wrong(f"{between['length_m']} m")


def same_grid_as_standards(session: Session) -> bool:
    return np.array_equal(session.readings["device"].swept, session.frequency)


def has_check(session: Session) -> bool:
    return any(item["name"] == "check" for item in session.checks)


def formatted(session: Session) -> bool:
    return session.typed != "typed"


KINDS: dict[str, tuple[Act, Callable[[Session], bool]]] = {
    "cable flexed": (cable_flexed, anything),
    "drift": (drift, anything),
    "other plane": (other_plane, anything),
    "not tight": (not_tight, anything),
    "no load": (no_load, anything),
    "wrong load value": (wrong_load_value, anything),
    "exchanged: short and open": (exchanged("short", "open"), anything),
    "exchanged: load and open": (exchanged("load", "open"), anything),
    "same standard twice": (same_standard_twice, anything),
    "device as standard": (device_as_standard, same_grid_as_standards),
    "load as check": (load_as_check, has_check),
    "stale device": (stale_device, anything),
    "self-corrected": (self_corrected, anything),
    "frequency unit": (frequency_unit, anything),
    "grid shifted": (grid_shifted, anything),
    "sweep order": (sweep_order, swept),
    "reference 75": (reference_75, lambda s: not s.typed),
    "sign lost": (sign_lost, anything),
    "conjugated": (conjugated, anything),
    "number format": (number_format, formatted),
    "S21": (s21_for_s11, anything),
    "interference": (interference, swept),
    "cable type": (cable_type, by_figures),
    "feet": (feet, by_figures),
    "loss too high": (loss_too_high, by_figures),
    "too much removed": (too_much_removed, by_figures),
}
"""Each kind that is done to a session with a device, and which sessions it can be done to."""
