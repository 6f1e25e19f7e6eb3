"""Kinds of keys: numbers, in SI as they are read whatever unit is written, words and files."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal.maths.checks import LEAST_OHM, MOST_OHM
from rfcal.readings.csv import LARGEST
from rfcal.readings.rows import RECORD_POINTS, too_many
from rfcal.record.format.keys import Key, Table

UNITS = {"MHz": 1e6, "ps": 1e-12, "Gohm/s": 1e9, "%": 0.01}
"""Units of the record that are not SI, and what each is in SI."""
OHM = ("ohm", LEAST_OHM, MOST_OHM)
"""Unit and bounds of an impedance that things refer to."""


def show(value: Any) -> str:
    """A value as the user may know it again, in at most 60 characters."""
    text = repr(value) if isinstance(value, str) else as_text(value)
    text = re.sub(r"Decimal\('(.*?)'\)", r"\1", text)
    return text if len(text) <= 60 else text[:57] + "..."


def as_text(value: Any) -> str:
    """A value of any kind as text; words where it is a number too long to be written out."""
    try:
        return str(value)
    except ValueError:
        return "a number of thousands of digits"
    except RecursionError:
        return "tables without end"


def finite(table: Table, key: str, found: Any) -> float:
    """A finite number that can be a measurement."""
    if isinstance(found, bool) or not isinstance(found, int | float | Decimal):
        raise table.fail(key, f"expected a number, found {show(found)}")
    number = float(found) if not isinstance(found, int) or abs(found) <= LARGEST else math.inf
    if math.isnan(number) or (math.isinf(number) and not isinstance(found, int)):
        raise table.fail(key, f"expected a finite number, found {show(found)}")
    if abs(number) > LARGEST:
        raise table.fail(key, f"{number:g} is beyond any measurement")
    return number


def one_among(table: Table, key: str, word: Any, among: Iterable[str]) -> str:
    """One of a few words."""
    if text(table, key, word) not in among:
        raise table.fail(key, f"'{word}' is none of {', '.join(among)}")
    return word


def text(table: Table, key: str, found: Any, *, empty: bool = True) -> str:
    """A text, which may be empty or not."""
    if not isinstance(found, str):
        raise table.fail(key, f"expected a text in quotes, found {show(found)}")
    if not (empty or found.strip()):
        raise table.fail(key, "this text is empty")
    return found


@dataclass(frozen=True)
class Number(Key):
    """A number; default and bounds are in SI as it is read, whatever unit is written."""

    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # whether `low` itself is refused
    most: str = "the most that makes sense here"
    wanted = "a number"

    @property
    def factor(self) -> float:
        """What one of the unit is in SI."""
        return UNITS.get(self.unit, 1.0)

    def _value(self, table: Table, found: Any) -> float:
        written = finite(table, self.name, found)
        low, high = self.low / self.factor, self.high / self.factor
        if written < low or (self.above and written == low):
            than = "above" if self.above else "at least"
            raise table.fail(self.name, f"{written:g} is not {than} {low:g}")
        if written > high:
            raise table.fail(self.name, f"{written:g} is above {high:g}, {self.most}")
        return written * self.factor

    @property
    def form(self) -> str:
        """With the unit."""
        return f"number, {self.unit}" if self.unit else "number"

    @property
    def usual(self) -> str:
        """The default in the unit that is written."""
        known = self.default is not None and not self.instead
        return f"{self.default / self.factor:.4g}" if known else super().usual


@dataclass(frozen=True)
class Whole(Key):
    """A whole number, zero or more."""

    form = "whole number"

    def _value(self, table: Table, found: Any) -> int:
        if isinstance(found, bool) or not isinstance(found, int) or found < 0:
            raise table.fail(self.name, "expected a whole number, zero or more")
        return found


@dataclass(frozen=True)
class Coefficients(Key):
    """One to four numbers, the coefficients of a polynomial."""

    default: tuple[float, ...] = (0.0,)
    form = "1 to 4 numbers"
    usual = "0"

    def _value(self, table: Table, found: Any) -> tuple[float, ...]:
        if not isinstance(found, list) or not 1 <= len(found) <= 4:
            wanted = "expected a list of one to four numbers"
            raise table.fail(self.name, f"{wanted}, found {show(found)}")
        return tuple(finite(table, self.name, v) for v in found)


@dataclass(frozen=True)
class Rows(Key):
    """Rows of numbers, at least one."""

    columns: tuple[str, ...] = ()
    example: str = ""

    @property
    def form(self) -> str:
        """With the columns."""
        return f"rows of {', '.join(self.columns)}"

    def _value(self, table: Table, found: Any) -> list[tuple[float, ...]]:
        wanted = f"expected {self.form}, such as {self.example}"
        if not isinstance(found, list) or not found:
            raise table.fail(self.name, f"{wanted}, found {show(found)}")
        if len(found) > RECORD_POINTS:
            raise table.fail(self.name, too_many(RECORD_POINTS))
        for i, row in enumerate(found, start=1):
            if not isinstance(row, list) or len(row) != len(self.columns):
                raise table.fail(self.name, f"{wanted}; row {i} is {show(row)}")
        return [
            tuple(self._cell(table, i, cell) for cell in row)
            for i, row in enumerate(found, start=1)
        ]

    def _cell(self, table: Table, row: int, found: Any) -> float:
        """One cell of a row."""
        return finite(table, f"{self.name}, row {row}", found)


@dataclass(frozen=True)
class Flag(Key):
    """True or false."""

    default: bool = False
    form = "true or false"
    usual = "false"

    def _value(self, table: Table, found: Any) -> bool:
        if not isinstance(found, bool):
            raise table.fail(self.name, "expected true or false")
        return found


@dataclass(frozen=True)
class Text(Key):
    """A text, which may be empty only where it need not be there."""

    form = "text"

    def _value(self, table: Table, found: Any) -> str:
        return text(table, self.name, found, empty=not self.needed)


@dataclass(frozen=True)
class Line(Text):
    """A text of one line, with nothing in it that cannot be printed."""

    def _value(self, table: Table, found: Any) -> str:
        if not super()._value(table, found).isprintable():
            wanted = "expected one line of printable signs"
            raise table.fail(self.name, f"{wanted}, found {show(found)}")
        return found


@dataclass(frozen=True)
class Day(Key):
    """A date, read as YYYY-MM-DD."""

    default: str = ""
    form = "date"

    def _value(self, table: Table, found: Any) -> str:
        if not isinstance(found, date) or isinstance(found, datetime):
            raise table.fail(self.name, f"expected a date such as 2026-05-16, found {show(found)}")
        return found.isoformat()


@dataclass(frozen=True)
class Choice(Key):
    """One of a few words."""

    among: Iterable[str] = ()

    def _value(self, table: Table, found: Any) -> Any:
        return one_among(table, self.name, found, self.among)

    @property
    def form(self) -> str:
        """The words."""
        return ", ".join(f"`{word}`" for word in self.among)

    @property
    def wanted(self) -> str:
        """The words."""
        return f"one of {', '.join(self.among)}"


@dataclass(frozen=True)
class Words(Choice):
    """Some of a few words, all of them by default."""

    usual = "all"

    def read(self, table: Table) -> tuple[str, ...]:
        """The words, each of which may stand there."""
        found = table.values.get(self.name, list(self.among))
        if not isinstance(found, list) or not found or not all(isinstance(v, str) for v in found):
            raise table.fail(self.name, f"expected a list of {', '.join(self.among)}")
        return tuple(self._value(table, word) for word in found)

    @property
    def form(self) -> str:
        """The words."""
        return f"list of {super().form}"


@dataclass(frozen=True)
class File(Key):
    """A file inside the record's folder, by its path relative to it."""

    form = "file"

    def _value(self, table: Table, found: Any) -> Any:
        shown = show(text(table, self.name, found, empty=False))
        if "\\" in found:
            raise table.fail(self.name, f"{shown}: write / between folders, not \\")
        if Path(found).is_absolute() or ".." in Path(found).parts:
            raise table.fail(self.name, f"{shown} must be a path inside the record's folder")
        try:
            inside = table.folder.resolve()
            target = (inside / found).resolve()
            there = target.is_file()
        except (OSError, ValueError, RuntimeError) as error:
            raise table.fail(self.name, f"{shown} is no path that can be read ({error})") from error
        if not target.is_relative_to(inside):
            raise table.fail(self.name, f"{shown} is a link that leads outside the record's folder")
        if not there and not table.ahead:
            raise table.fail(self.name, f"there is no file {shown} in the record's folder")
        return found


@dataclass(frozen=True)
class Files(File):
    """A file, or a list of two or more that repeat it; read as a tuple."""

    form = "file, or list of files"

    def _value(self, table: Table, found: Any) -> tuple[str, ...]:
        if not isinstance(found, list):
            return (super()._value(table, found),)
        if len(found) < 2 or not all(isinstance(v, str) for v in found):
            wanted = "expected a file, or a list of two or more"
            raise table.fail(self.name, f"{wanted}, found {show(found)}")
        paths = tuple(super(Files, self)._value(table, v) for v in found)
        if len({PurePosixPath(path) for path in paths}) < len(paths):
            why = "one file stands in the list twice: only new readings scatter"
            raise table.fail(self.name, why)
        return paths
