"""Readings typed off a display one by one: what a form or a terminal asks for, and its record."""

import json
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.reflection import from_impedance
from rfcal.readings.display import Display
from rfcal.record.findings.case import KHZ_HZ
from rfcal.record.format import schema
from rfcal.record.format.reading import step_of
from rfcal.record.format.schema import Record
from rfcal.record.format.start import begun_record, item_rows
from rfcal.record.job.compute import compute, inspect
from rfcal.record.results import Results

NO_SIGN, SIZES = "R and X without its sign", "|Z| and SWR"
SHOWS = {"R and X": ("R", "X"), NO_SIGN: ("R", "|X|"), SIZES: ("|Z|", "SWR")}
"""What a display may show of a reading, and the two numbers that are typed of it."""
KINDS = ("short", "open", "load", "check", "device", "short again")
"""What is asked to be read, in this order."""
STEPS = (
    *("frequency", "shows", "short", "open", "load ohm", "load"),
    *("check ohm", "check", "name", "device", "short again"),
)
"""All that is asked for, in this order: resistances by ohmmeter, before what has them."""
ABOVE_ZERO = dict.fromkeys(("load ohm", "check ohm"), "a resistance is a number of ohms")
ABOVE_ZERO["frequency"] = "a frequency is a number of MHz"
"""Answers that are numbers."""
OFTEN = {"short": 1.0, "open": 1.0, "load": 0.0}
"""Size of reflection [1] of a standard, which a raw reading comes near."""
STAND_IN = "nothing yet"
BELOW_ZERO = 0.1
"""How far R of a device may be below zero, in parts of its |Z|: the analyzer's own error."""
FAR = 0.5
"""How far from that size [1] a standard is not what it is called, or not connected."""


Said = Mapping[str, str]
"""What was answered, by its step."""


def numbers(cells: str, shows: str) -> tuple[str, str]:
    """The two numbers of a reading as TOML has them, each with the digits that were typed."""
    found = [_number(cell) for cell in _cells(cells, signed=shows == "R and X")]
    if len(found) != 2 or not all(found):
        raise ArgumentError(
            f"two numbers, {' and '.join(SHOWS[shows])}, are expected, found '{cells:.40}': type "
            "them with a space between; what is beyond the display is > with the largest number "
            "that it can show, such as >999 for either sign"
        )
    return found[0], found[1]


def _cells(text: str, *, signed: bool) -> list[str]:
    """The numbers of a line as texts: apart by a space, or R+jX where X has a sign."""
    said = re.sub(r"\s*ohms?\b|\s*ω", "", text.strip().casefold())
    said = re.sub(r"> +", ">", said)
    size = r"(\d[\d.,]*)"
    both = re.fullmatch(rf"([+-]?{size})\s*([+-])\s*(?:j\s*{size}|{size}\s*j)", said)
    if both and signed:
        return [both[1], both[3] + (both[4] or both[5])]
    return re.split(r"\s*(?:,\s|\s,|[;\s])\s*", said) if said else []


def _number(cell: str) -> str:
    """A number as TOML has it, with the digits that were typed; empty where it is none."""
    said = cell.strip().replace(",", ".").removeprefix("+")
    if re.fullmatch(r">\d+(\.\d*)?", said):
        return json.dumps(said)
    # without leading zeros, and with digits on both sides of the point
    return f"{Decimal(said):f}" if re.fullmatch(r"-?(\d+(\.\d*)?|\.\d+)", said) else ""


def checked(step: str, text: str) -> str:
    """An answer, a frequency or resistance as TOML has it."""
    if step not in ABOVE_ZERO:
        return text
    said = _number(re.sub(r"\s*(ohms?|ω|mhz)$", "", text.strip().casefold()))
    if not said or said.startswith(('"', "-")) or not float(said):
        raise ArgumentError(f"{ABOVE_ZERO[step]} above zero, found '{text:.20}'")
    return said


def record_text(said: Said, title: str, on: date | None = None) -> str:
    """The text of a record of the readings so far, with a comment for each key."""
    tables = (_table(kind, said) for kind in KINDS if said.get(kind))
    return begun_record(title, tables, f"date = {on}\n" if on else "")


def _table(kind: str, said: Said) -> str:
    """One reading as a table of a record."""
    first, second = numbers(said[kind], said["shows"])
    frequency, ohm = checked("frequency", said["frequency"]), said.get(f"{kind} ohm", "")
    typed = f"typed = [[{frequency}, {first}, {second}]]\n"
    if said["shows"] == SIZES:
        typed = f"typed_z_ohm = [[{frequency}, {first}]]\ntyped_swr = [[{frequency}, {second}]]\n"
    typed += 'x_sign = "unknown"\n' * (said["shows"] == NO_SIGN)
    ohm = ohm and checked(f"{kind} ohm", ohm)
    known = f"resistance_ohm = {ohm}\n" if ohm else ""
    name = f"{ohm} ohm" if kind == "check" else said.get("name") or "device"
    return item_rows("reread" if kind == "short again" else kind, known + typed, name)


def computed(said: Said) -> Results | None:
    """What they come to so far: the answer with a device, the calibration without; None before."""
    if not all(said.get(kind) for kind in OFTEN):
        return None
    if said.get("device"):
        return compute(_record(said))
    # a record is of a device: of the load again, which is not looked at
    found = inspect(_record({**said, "device": said["load"], "name": STAND_IN}))
    told = [f for f in found.findings if STAND_IN not in (f.about, *f.message.split("'"))]
    return replace(found, findings=tuple(told))


def _record(said: Said) -> Record:
    return schema.read(Path(), record_text(said, "typed").encode())


def reflection(kind: str, said: Said) -> complex | None:
    """The raw reflection [1] of one reading; None where the display leaves more than one."""
    first, second = numbers(said[kind], said["shows"])
    if said["shows"] != "R and X" or '"' in first + second:
        return None
    return complex(from_impedance(complex(float(first), float(second)), defaults.REFERENCE_OHM))


def doubt(step: str, said: Said) -> str:
    """Why an answer looks wrong by itself; nothing where it looks as it should."""
    if step in KINDS:
        return _judged(step, said)
    value = float(checked(step, said[step])) if step in ABOVE_ZERO else 0.0
    low, high = defaults.CHECK_OHM
    if step == "frequency" and value * 1e6 >= KHZ_HZ:
        unit, right = ("kHz", value / 1e3) if value < 1e6 else ("Hz", value / 1e6)
        return f"{value:.10g} MHz is very high: if it was read in {unit}, it is {right:.10g} MHz"
    if step == "check ohm" and not low <= value <= high:
        return f"{value:g} ohm is not within {low:g} to {high:g}: such a check says little"
    return ""


def _judged(kind: str, said: Said) -> str:
    """What one reading says by itself: nothing where it looks like what it is called."""
    cells = numbers(said[kind], said["shows"])
    if said["shows"] == SIZES and '"' not in "".join(cells):  # what nothing has together is refused
        steps = step_of(cells[:1]), step_of(cells[1:], -1)
        z, swr = ([(1.0, float(cell))] for cell in cells)
        Display(kind, defaults.REFERENCE_OHM, f"the {kind}", steps).sizes(z, swr)
    seen = reflection(kind, said)
    if kind == "device" and seen is not None:
        r, x = map(float, cells)
        below = r < -BELOW_ZERO * math.hypot(r, x)
        return f"R is {r:g} ohm, below zero: is its sign right, and is it R that you read?" * below
    if kind not in OFTEN or seen is None or abs(abs(seen) - OFTEN[kind]) <= FAR:
        return ""
    off = f"it reflects {abs(seen):.2f} of what arrives, {'an' if kind == 'open' else 'a'} {kind}"
    return f"{off} about {OFTEN[kind]:g}: is it connected, and are the numbers right?"
