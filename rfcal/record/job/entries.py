"""Readings typed off a display one by one: what a form or a terminal asks for, and its record."""

import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.reflection import from_impedance
from rfcal.record.format import schema
from rfcal.record.format.schema import Record
from rfcal.record.format.start import begun_record, item_rows
from rfcal.record.job.compute import compute, inspect
from rfcal.record.results import Results

NO_SIGN, SIZES = "R and X without its sign", "|Z| and SWR"
SHOWS = {"R and X": ("R", "X"), NO_SIGN: ("R", "|X|"), SIZES: ("|Z|", "SWR")}
"""What a display may show of a reading, and the two numbers that are typed of it."""
KINDS = ("short", "open", "load", "check", "device", "short again")
"""What is asked for, in the order in which it is read."""
OFTEN = {"short": 1.0, "open": 1.0, "load": 0.0}
"""Size of reflection [1] of a standard, which a raw reading comes near."""
STAND_IN = "nothing yet"
HIGHEST_MHZ = 3000.0
"""A frequency above this [MHz] is rarely read off a display: it was probably typed in kHz or Hz."""
CHECK_OHM = (10.0, 200.0)
"""A check beyond these [ohm] says little of the readings in between."""
BELOW_ZERO = 0.1
"""How far R of a device may be below zero, in parts of its |Z|: the analyzer's own error."""
FAR = 0.5
"""How far from that size [1] a standard is not what it is called, or not connected."""


@dataclass(frozen=True)
class Entry:
    """One reading as it is typed: two numbers, and the resistance where one is known."""

    kind: str  # of `KINDS`
    cells: str  # such as ``"2,6 9.3"`` or ``">999 >999"``
    ohm: str = ""  # of a load or check, by ohmmeter
    name: str = ""  # of a device

    def numbers(self, shows: str) -> tuple[str, str]:
        """The two numbers as TOML has them, each with the digits that were typed."""
        cells = [_number(cell) for cell in _cells(self.cells, signed=shows == "R and X")]
        if len(cells) != 2 or not all(cells):
            raise ArgumentError(
                f"two numbers, {' and '.join(SHOWS[shows])}, are expected, found "
                f"'{self.cells:.40}': type them with a space between; what is beyond the display "
                "is > with the largest number that it can show, such as >999 for either sign"
            )
        return cells[0], cells[1]


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


def ohms(text: str) -> str:
    """A resistance as TOML has it."""
    return _above_zero(text, "a resistance is a number of ohms")


def megahertz_of(text: str) -> str:
    """A frequency as TOML has it."""
    return _above_zero(text, "a frequency is a number of MHz")


def _above_zero(text: str, what: str) -> str:
    said = _number(re.sub(r"\s*(ohms?|ω|mhz)$", "", text.strip().casefold()))
    if not said or said.startswith(('"', "-")) or not float(said):
        raise ArgumentError(f"{what} above zero, found '{text:.20}'")
    return said


def record_text(
    megahertz: str, shows: str, entries: Sequence[Entry], title: str, on: date | None = None
) -> str:
    """The text of a record of them, with a comment for each key."""
    said = (_table(megahertz, shows, entry) for entry in entries)
    return begun_record(title, said, f"date = {on}\n" if on else "")


def _table(megahertz: str, shows: str, entry: Entry) -> str:
    """One reading as a table of a record."""
    first, second = entry.numbers(shows)
    frequency = megahertz_of(megahertz)
    typed = f"typed = [[{frequency}, {first}, {second}]]\n"
    if shows == SIZES:
        typed = f"typed_z_ohm = [[{frequency}, {first}]]\ntyped_swr = [[{frequency}, {second}]]\n"
    typed += 'x_sign = "unknown"\n' * (shows == NO_SIGN)
    known = f"resistance_ohm = {ohms(entry.ohm)}\n" if entry.ohm else ""
    kind = "reread" if entry.kind == "short again" else entry.kind
    name = f"{ohms(entry.ohm)} ohm" if entry.kind == "check" else entry.name or "device"
    return item_rows(kind, known + typed, name)


def computed(megahertz: str, shows: str, entries: Sequence[Entry]) -> Results | None:
    """What they come to so far: the answer with a device, the calibration without; None before."""
    kinds = [entry.kind for entry in entries]
    if not {"short", "open", "load"} <= set(kinds):
        return None
    if "device" in kinds:
        return compute(_record(megahertz, shows, entries))
    # a record is of a device: of the load again, which is not looked at
    stand_in = Entry("device", next(e.cells for e in entries if e.kind == "load"), name=STAND_IN)
    found = inspect(_record(megahertz, shows, [*entries, stand_in]))
    told = [f for f in found.findings if STAND_IN not in (f.about, *f.message.split("'"))]
    return replace(found, findings=tuple(told))


def _record(megahertz: str, shows: str, entries: Sequence[Entry]) -> Record:
    return schema.read(Path(), record_text(megahertz, shows, entries, "typed").encode())


def reflection(shows: str, entry: Entry) -> complex | None:
    """The raw reflection [1] of one reading; None where the display leaves more than one."""
    first, second = entry.numbers(shows)
    if shows != "R and X" or '"' in first + second:
        return None
    return complex(from_impedance(complex(float(first), float(second)), defaults.REFERENCE_OHM))


def judged(shows: str, entry: Entry) -> str:
    """What one reading says by itself: nothing where it looks like what it is called."""
    seen = reflection(shows, entry)
    if entry.kind == "device" and seen is not None:
        r, x = map(float, entry.numbers(shows))
        below = r < -BELOW_ZERO * math.hypot(r, x)
        return f"R is {r:g} ohm, below zero: is its sign right, and is it R that you read?" * below
    if entry.kind not in OFTEN or seen is None or abs(abs(seen) - OFTEN[entry.kind]) <= FAR:
        return ""
    a = "an" if entry.kind == "open" else "a"
    off = f"it reflects {abs(seen):.2f} of what arrives, {a} {entry.kind} about "
    return f"{off}{OFTEN[entry.kind]:g}: is it connected, and are the numbers right?"


def unit_doubt(megahertz: str) -> str:
    """In which unit a frequency was probably typed; nothing where it looks like MHz."""
    value = float(megahertz_of(megahertz))
    unit, right = ("kHz", value / 1e3) if value < 1e6 else ("Hz", value / 1e6)
    said = f"{value:.10g} MHz is very high: if it was read in {unit}, it is {right:.10g} MHz"
    return said if value > HIGHEST_MHZ else ""


def check_doubt(ohm: str) -> str:
    """Why a resistor is a poor check; nothing where it is a good one."""
    low, high = CHECK_OHM
    said = f"{ohms(ohm)} ohm is not within {low:g} to {high:g}: such a check says little"
    return "" if low <= float(ohms(ohm)) <= high else said
