"""Readings typed off a display one by one: what a form or a terminal asks for, and its record."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.reflection import from_impedance
from rfcal.record.format import schema
from rfcal.record.format.schema import Record
from rfcal.record.format.start import starting_record
from rfcal.record.job.compute import compute, inspect
from rfcal.record.results import Results

SHOWS = {
    "R and X": ("R", "X"),
    "R and X without its sign": ("R", "|X|"),
    "|Z| and SWR": ("|Z|", "SWR"),
}
"""What a display may show of a reading, and the two numbers that are typed of it."""
KINDS = ("short", "open", "load", "check", "device", "short again")
"""What is asked for, in the order in which it is read."""
OFTEN = {"short": 1.0, "open": 1.0, "load": 0.0}
"""Size of reflection [1] of a standard, which a raw reading comes near."""
STAND_IN = "nothing yet"
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
        cells = re.split(r"[;\s]+", self.cells.strip()) if self.cells.strip() else []
        what = " and ".join(SHOWS[shows])
        if len(cells) != 2:
            raise ArgumentError(f"two numbers, {what}, are expected, found '{self.cells:.40}'")
        first, second = (_number(cell) for cell in cells)
        if not first or not second:
            raise ArgumentError(
                f"'{self.cells:.40}' is not two numbers: type {what} with a space between; what is "
                "beyond the display is > with the largest number that it can show, such as >999"
            )
        return first, second


def _number(cell: str) -> str:
    """A number as TOML has it, with the digits that were typed; empty where it is none."""
    said = cell.strip().replace(",", ".").removeprefix("+")
    if re.fullmatch(r">\d+(\.\d*)?", said):
        return json.dumps(said)
    if not re.fullmatch(r"-?(\d+(\.\d*)?|\.\d+)", said):
        return ""
    # no leading zeros, digits on both sides of the point
    sign, said = ("-", said[1:]) if said.startswith("-") else ("", said)
    whole, point, rest = said.partition(".")
    return f"{sign}{whole.lstrip('0') or '0'}{point}{rest or ('0' if point else '')}"


def ohms(text: str) -> str:
    """A resistance as TOML has it."""
    return _above_zero(text, "a resistance is a number of ohms")


def megahertz_of(text: str) -> str:
    """A frequency as TOML has it."""
    return _above_zero(text, "a frequency is a number of MHz")


def _above_zero(text: str, what: str) -> str:
    said = _number(text)
    if not said or said.startswith(('"', "-")) or not float(said):
        raise ArgumentError(f"{what} above zero, found '{text:.20}'")
    return said


def record_text(
    megahertz: str, shows: str, entries: Sequence[Entry], title: str, on: date | None = None
) -> str:
    """The text of a record of them, with a comment for each key."""
    head = f"[record]\ntitle = {json.dumps(title, ensure_ascii=False)}\n"
    head += f"date = {on}\nreference_ohm\n" if on else "reference_ohm\n"
    tables = [head, "[analyzer]\nnoise\nconnection\ndrift\n"]
    return starting_record("\n".join([*tables, *(_table(megahertz, shows, e) for e in entries)]))


def _table(megahertz: str, shows: str, entry: Entry) -> str:
    """One reading as a table of a record."""
    first, second = entry.numbers(shows)
    frequency = megahertz_of(megahertz)
    typed = f"typed = [[{frequency}, {first}, {second}]]\n"
    if shows == "|Z| and SWR":
        typed = f"typed_z_ohm = [[{frequency}, {first}]]\ntyped_swr = [[{frequency}, {second}]]\n"
    elif shows != "R and X":
        typed += 'x_sign = "unknown"\n'
    if entry.kind == "short again":
        return f'[[reread]]\nof = "short"\n{typed}'
    if entry.kind == "device":
        return f"[[measurement]]\nname = {json.dumps(entry.name or 'device')}\n{typed}"
    known = f"resistance_ohm = {ohms(entry.ohm)}\n" if entry.ohm else ""
    if entry.kind == "check":
        return f'[[check]]\nname = "{entry.ohm} ohm"\n{known}{typed}'
    return f'[[standard]]\nname = "{entry.kind}"\nkind = "{entry.kind}"\n{known}{typed}'


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
    if entry.kind not in OFTEN or seen is None or abs(abs(seen) - OFTEN[entry.kind]) <= FAR:
        return ""
    return (
        f"it reflects {abs(seen):.2f} of what arrives, {_a(entry.kind)} about "
        f"{OFTEN[entry.kind]:g}: is it connected, and are the numbers right?"
    )


def _a(kind: str) -> str:
    return "an open" if kind == "open" else f"a {kind}"
