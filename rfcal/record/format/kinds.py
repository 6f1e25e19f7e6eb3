"""Kinds of keys: numbers, in SI as they are read whatever unit is written, words and files."""

import difflib
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from rfcal.maths.arguments import LEAST_OHM, MOST_OHM
from rfcal.readings.rows import RECORD_POINTS, too_many_points
from rfcal.record.format.keys import Key, Table, cite

ENDINGS = {
    **{"_ohm": (1.0, "ohm"), "_m": (1.0, "m"), "_h": (1.0, "H"), "_f": (1.0, "F")},
    **{"_w": (1.0, "W"), "_c": (1.0, "°C"), "_percent": (0.01, "%"), "_mhz": (1e6, "MHz")},
    **{"_ps": (1e-12, "ps"), "_gohm_per_s": (1e9, "Gohm/s")},
}
"""How the names of keys end, and the unit that says: what it is in SI; else a number is plain."""
MOST_STRAY = 1e-6
"""Of a standard's capacitance [F] or inductance [H], at 1 GHz (common practice, no source)."""
OHM = (LEAST_OHM, MOST_OHM)
"""Bounds of an impedance [ohm] that things refer to."""


def all_texts(found: Any, least: int = 1) -> bool:
    """Whether something is a list of so many texts or more."""
    texts = isinstance(found, list) and all(isinstance(v, str) for v in found)
    return texts and len(found) >= least


@dataclass(frozen=True)
class Number(Key):
    """A number; default and bounds are in SI as it is read, whatever unit is written."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # whether `low` itself is refused
    most: str = "the most that makes sense here"

    @property
    def unit(self) -> tuple[float, str]:
        """What the name's ending says, mostly nothing: what one of it is in SI, and its sign."""
        units = (unit for ending, unit in ENDINGS.items() if self.name.endswith(ending))
        return next(units, (1.0, ""))

    def _value(self, table: Table, found: Any) -> float:
        written, factor = table.finite(self.name, found), self.unit[0]
        low, high = self.low / factor, self.high / factor
        if written < low or (self.above and written == low):
            than = "above" if self.above else "at least"
            raise table.fail(self.name, f"{written:g} is not {than} {low:g}")
        if written > high:
            raise table.fail(self.name, f"{written:g} is above {high:g}, {self.most}")
        return written * factor

    @property
    def form(self) -> str:
        """With the unit."""
        return f"a number in {self.unit[1]}" if self.unit[1] else "a number"

    @property
    def usual(self) -> str:
        """The default in the unit that is written."""
        known = self.default is not None and not self.instead
        return f"{self.default / self.unit[0]:.4g}" if known else super().usual


class Whole(Key):
    """A whole number, zero or more."""

    form = "a whole number, zero or more"

    def _fits(self, found: Any) -> bool:
        return type(found) is int and found >= 0


class One(Whole):
    """A number that is always 1."""

    form = "a line 'format = 1' before the tables"

    def _fits(self, found: Any) -> bool:
        return type(found) is int and found == 1


@dataclass(frozen=True)
class Coefficients(Key):
    """One to four numbers, the coefficients of a polynomial; one may stand without a list."""

    unit: str = ""  # of the first; of the others per Hz, Hz² and Hz³
    usually: str = ""  # what the first may be, to show how it is written

    form = "one to four numbers in a list"
    usual = "0"

    def _fits(self, found: Any) -> bool:
        return isinstance(found, list) and 1 <= len(found) <= 4

    def _value(self, table: Table, found: Any) -> tuple[float, ...]:
        if isinstance(found, int | float | Decimal):
            found = [found]
        values = tuple(table.finite(self.name, v) for v in super()._value(table, found))
        for power, value in enumerate(values):
            if abs(value) > MOST_STRAY * 1e-9**power:
                unit = self.unit + ("", "/Hz", "/Hz²", "/Hz³")[power]
                cure = f"write {self.unit} with a decimal point, such as {self.usually}"
                raise table.fail(self.name, f"{value:g} {unit} is beyond any standard: {cure}")
        return values


@dataclass(frozen=True)
class Rows(Key):
    """Rows of numbers, at least one."""

    columns: tuple[str, ...] = ()
    example: str = ""

    @property
    def form(self) -> str:
        """With the columns."""
        return f"rows of {', '.join(self.columns)}"

    @property
    def wanted(self) -> str:
        """With an example."""
        return f"{self.form}, such as {self.example}"

    def _fits(self, found: Any) -> bool:
        return isinstance(found, list) and bool(found)

    def _value(self, table: Table, found: Any) -> list[tuple[float, ...]]:
        rows = []
        if len(super()._value(table, found)) > RECORD_POINTS:
            raise table.fail(self.name, too_many_points(RECORD_POINTS))
        for i, row in enumerate(found, start=1):
            if not isinstance(row, list) or len(row) != len(self.columns):
                raise table.fail(self.name, f"expected {self.wanted}; row {i} is {cite(row)}")
            rows.append(tuple(self._cell(table, i, cell) for cell in row))
        return rows

    def _cell(self, table: Table, row: int, found: Any) -> float:
        """One cell of a row."""
        return table.finite(f"{self.name}, row {row}", found)


class Flag(Key):
    """True or false."""

    form = "true or false"
    usual = "false"
    of = bool


class Text(Key):
    """A text, which may be empty only where it need not be there."""

    form = "a text in quotes"

    def _value(self, table: Table, found: Any) -> Any:
        if not super()._value(table, found).strip() and self.needed:
            raise table.fail(self.name, "this text is empty")
        return found


class OneLine(Text):
    """A text of one line, with nothing in it that cannot be printed."""

    def _value(self, table: Table, found: Any) -> str:
        if not super()._value(table, found).isprintable():
            wanted = "expected one line of printable signs"
            raise table.fail(self.name, f"{wanted}, found {cite(found)}")
        return found


class Day(Key):
    """A date, read as YYYY-MM-DD."""

    form = "a date such as 2026-05-16"
    of = date

    def _value(self, table: Table, found: Any) -> str:
        return super()._value(table, found).isoformat()


@dataclass(frozen=True)
class Choice(Key):
    """One of a few words."""

    among: Iterable[str] = ()

    def _value(self, table: Table, found: Any) -> Any:
        return table.one_among(self.name, found, self.among)

    @property
    def form(self) -> str:
        """The words."""
        return f"one of {', '.join(f'`{word}`' for word in self.among)}"


class Words(Choice):
    """Some of a few words, all of them by default."""

    usual = "all"

    def read(self, table: Table) -> tuple[str, ...]:
        """The words, each of which may stand there."""
        found = table.values.get(self.name, list(self.among))
        if not all_texts(found):
            raise table.fail(self.name, f"expected {self.form}")
        return tuple(self._value(table, word) for word in found)

    @property
    def form(self) -> str:
        """The words."""
        return super().form.replace("one", "a list", 1)


class File(Text):
    """A file inside the record's folder, by its path relative to it."""

    form = "a file"

    def _value(self, table: Table, found: Any) -> Any:
        shown = cite(super()._value(table, found))
        if "\\" in found:
            raise table.fail(self.name, f"{shown}: write / between folders, not \\")
        if Path(found).is_absolute() or ".." in Path(found).parts:
            raise table.fail(self.name, f"{shown} must be a path inside the record's folder")
        try:
            inside = table.folder.resolve()
            target = (inside / found).resolve()
            there, exists, above = target.is_file(), target.exists(), target.parent
            names = [] if there or not above.is_dir() else [p.name for p in above.iterdir()]
        except (OSError, ValueError, RuntimeError) as error:
            raise table.fail(self.name, f"{shown} is no path that can be read ({error})") from error
        if not target.is_relative_to(inside):
            raise table.fail(self.name, f"{shown} is a link that leads outside the record's folder")
        if not there and (exists or not table.ahead):
            folded = {name.casefold(): name for name in names}
            near = difflib.get_close_matches(target.name.casefold(), folded, 1)
            nearest = [cite(Path(found).with_name(folded[name]).as_posix()) for name in near]
            why = f"there is no file {shown} in the record's folder (a folder or a pipe is none)"
            raise table.fail(self.name, why + "".join(f"; the nearest is {n}" for n in nearest))
        return found


class Files(File):
    """A file, or a list of two or more that repeat it; read as a tuple."""

    form = "a file, or a list of two or more"

    def _value(self, table: Table, found: Any) -> tuple[str, ...]:
        several = found if all_texts(found, 2) else [found]
        return tuple(super(Files, self)._value(table, v) for v in several)
