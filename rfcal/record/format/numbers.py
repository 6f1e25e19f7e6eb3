"""Keys that hold numbers: in SI as they are read, whatever unit is written."""

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from rfcal.readings.csv import LARGEST
from rfcal.record.format.keys import Key
from rfcal.record.format.table import Table, show

UNITS = {"MHz": 1e6, "ps": 1e-12, "Gohm/s": 1e9, "%": 0.01}
"""Units of the record that are not SI, and what each is in SI."""


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


@dataclass(frozen=True)
class Number(Key):
    """A number; default and bounds are in SI as it is read, whatever unit is written."""

    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # whether `low` itself is refused
    most: str = "the most that makes sense here"

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
    def wanted(self) -> str:
        """A number."""
        return "a number"

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
            raise table.fail(
                self.name, f"expected a list of one to four numbers, found {show(found)}"
            )
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
        for i, row in enumerate(found, start=1):
            if not isinstance(row, list) or len(row) != len(self.columns):
                raise table.fail(self.name, f"{wanted}; row {i} is {show(row)}")
        return [
            tuple(finite(table, f"{self.name}, row {i}", cell) for cell in row)
            for i, row in enumerate(found, start=1)
        ]
