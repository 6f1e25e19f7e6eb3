"""Checked access to the keys of a record: each refusal names file and key."""

import difflib
import math
import re
from collections.abc import Callable, Iterable
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal.errors import RecordError
from rfcal.readings.csv import LARGEST

FILE = "record.toml"

LATER = ("x_sign",)
"""Keys of record format 1 that this version of rfcal does not compute yet."""


class Keys:
    """One table of the record, read key by key.

    Parameters
    ----------
    table : dict
        The table as the TOML parser gave it.
    place : str
        Where it stands, such as ``standard 2 ("load")``; empty for the top level.
    folder : Path
        The record's folder, to which paths are relative.
    """

    def __init__(self, table: dict[str, Any], place: str, folder: Path):
        self.table, self.place, self.folder = table, place, folder

    def fail(self, key: str, message: str) -> RecordError:
        """An error that names the place.

        Parameters
        ----------
        key : str
            Key at fault; empty for the table as a whole.
        message : str
            What is wrong and what was expected.

        Returns
        -------
        RecordError
            To be raised.
        """
        return RecordError(FILE, " ".join(filter(None, (self.place, key))), message)

    def only(self, allowed: Iterable[str]) -> None:
        """Refuse keys that the format does not know, or that come in a later version.

        Parameters
        ----------
        allowed : iterable of str
            The keys that may stand in this table.

        Raises
        ------
        RecordError
            Names the key and the nearest one that is known.
        """
        allowed = list(allowed)
        for key in self.table:
            if key in allowed:
                continue
            if key in LATER:
                raise self.fail(key, "this version of rfcal does not compute this key yet")
            near = [k for k in allowed if key in k.split("_")]
            near = near or [k for k in allowed if key in k]
            near = near or difflib.get_close_matches(key, allowed, 1, 0)
            raise self.fail(key, f"unknown key; the nearest known one is '{near[0]}'")

    def number(
        self,
        key: str,
        default: float | None = None,
        *,
        low: float = -math.inf,
        above: bool = False,
        high: float = math.inf,
    ) -> float:
        """A finite number.

        Parameters
        ----------
        key : str
            The key.
        default : float, optional
            Value where the key is absent; without one the key must be there.
        low : float
            Smallest value allowed.
        above : bool
            True where `low` itself is refused.
        high : float
            Largest value allowed.

        Returns
        -------
        float
            The number.
        """
        if key not in self.table:
            if default is None:
                raise self.fail(key, "this key is missing, and a number is needed")
            return default
        value = self.checked(key, self.table[key])
        if value < low or (above and value == low):
            raise self.fail(key, f"{value:g} is not {'above' if above else 'at least'} {low:g}")
        if value > high:
            raise self.fail(key, f"{value:g} is above {high:g}, the most that makes sense here")
        return value

    def checked(self, key: str, value: Any) -> float:
        """A finite number out of a list, checked.

        Parameters
        ----------
        key : str
            The key, for the error.
        value : object
            What stands there.

        Returns
        -------
        float
            The number.
        """
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            raise self.fail(key, f"expected a number, found {_show(value)}")
        number = float(value) if not isinstance(value, int) or abs(value) <= LARGEST else math.inf
        if math.isnan(number) or (math.isinf(number) and not isinstance(value, int)):
            raise self.fail(key, f"expected a finite number, found {_show(value)}")
        if abs(number) > LARGEST:
            raise self.fail(key, f"{number:g} is beyond any measurement")
        return number

    def text(self, key: str, default: str | None = None) -> str:
        """A text.

        Parameters
        ----------
        key : str
            The key.
        default : str, optional
            Value where the key is absent; without one the key must be there and not be empty.

        Returns
        -------
        str
            The text.
        """
        if key not in self.table:
            if default is None:
                raise self.fail(key, "this key is missing, and a text is needed")
            return default
        value = self.table[key]
        if not isinstance(value, str):
            raise self.fail(key, f"expected a text in quotes, found {_show(value)}")
        if default is None and not value.strip():
            raise self.fail(key, "this text is empty")
        return value

    def line(self, key: str) -> str:
        """A text of one line, with nothing in it that cannot be printed.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        str
            The text.
        """
        value = self.text(key)
        if not value.isprintable():
            raise self.fail(key, f"expected one line of printable signs, found {_show(value)}")
        return value

    def day(self, key: str) -> str:
        """A date.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        str
            The date as YYYY-MM-DD; empty where the key is absent.
        """
        value = self.table.get(key)
        if value is None:
            return ""
        if not isinstance(value, date) or isinstance(value, datetime):
            raise self.fail(key, f"expected a date such as 2026-05-16, found {_show(value)}")
        return value.isoformat()

    def numbers(self, key: str) -> tuple[float, ...]:
        """One to four numbers, the coefficients of a polynomial.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        tuple of float
            The coefficients; a single zero where the key is absent.
        """
        value = self.table.get(key, [0.0])
        if not isinstance(value, list) or not 1 <= len(value) <= 4:
            raise self.fail(key, f"expected a list of one to four numbers, found {_show(value)}")
        return tuple(self.checked(key, v) for v in value)

    def rows(self, key: str, columns: str) -> list[tuple[float, float, float]]:
        """Rows of three numbers.

        Parameters
        ----------
        key : str
            The key.
        columns : str
            What the columns are, for the error.

        Returns
        -------
        list of tuple of float
            At least one row.
        """
        return [(a, b, c) for a, b, c in self._rows(key, columns, "[[7.05, 48.2, -3.1]]", 3)]

    def pairs(self, key: str, columns: str) -> list[tuple[float, float]]:
        """Rows of two numbers.

        Parameters
        ----------
        key : str
            The key.
        columns : str
            What the columns are, for the error.

        Returns
        -------
        list of tuple of float
            At least one row.
        """
        return [(a, b) for a, b in self._rows(key, columns, "[[10.0, 2.0], [100.0, 7.0]]", 2)]

    def _rows(self, key: str, columns: str, example: str, width: int) -> list[list[float]]:
        wanted = f"expected rows of {columns}, such as {example}"
        if key not in self.table:
            raise self.fail(key, f"this key is missing; {wanted}")
        value = self.table[key]
        if not isinstance(value, list) or not value:
            raise self.fail(key, f"{wanted}, found {_show(value)}")
        for i, row in enumerate(value, start=1):
            if not isinstance(row, list) or len(row) != width:
                raise self.fail(key, f"{wanted}; row {i} is {_show(row)}")
        return [
            [self.checked(f"{key}, row {number}", cell) for cell in row]
            for number, row in enumerate(value, start=1)
        ]

    def display_step(self, key: str, column: int, coarsest: int) -> float:
        """The step of a display, from the finest decimal place typed in one column.

        Parameters
        ----------
        key : str
            The key of the rows.
        column : int
            The column, from 0.
        coarsest : int
            Power of ten of the coarsest step that a display has.

        Returns
        -------
        float
            Such as 0.01 where two places were typed.
        """
        cells = [Decimal(row[column]) for row in self.table[key]]
        return float(10.0 ** min(coarsest, *(int(c.as_tuple().exponent) for c in cells)))

    def path(self, key: str) -> str:
        """A file inside the record's folder.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        str
            The path, relative to the folder.
        """
        value = self.text(key)
        if "\\" in value:
            raise self.fail(key, f"{_show(value)}: write / between folders, not \\")
        if Path(value).is_absolute() or ".." in Path(value).parts:
            raise self.fail(key, f"{_show(value)} must be a path inside the record's folder")
        try:
            inside = self.folder.resolve()
            target = (inside / value).resolve()
            there = target.is_file()
        except (OSError, ValueError, RuntimeError) as error:
            raise self.fail(key, f"{_show(value)} is no path that can be read ({error})") from error
        if not target.is_relative_to(inside):
            raise self.fail(key, f"{_show(value)} is a link that leads outside the record's folder")
        if not there:
            raise self.fail(key, f"there is no file {_show(value)} in the record's folder")
        return value

    def paths(self, key: str) -> tuple[str, ...]:
        """Two files or more inside the record's folder.

        Parameters
        ----------
        key : str
            The key, which holds a list.

        Returns
        -------
        tuple of str
            The paths, no two the same.
        """
        value = self.table[key]
        if len(value) < 2 or not all(isinstance(v, str) for v in value):
            raise self.fail(key, f"expected a file, or a list of two or more, found {_show(value)}")
        found = [Keys({key: v}, self.place, self.folder).path(key) for v in value]
        if len({PurePosixPath(v) for v in found}) < len(found):
            raise self.fail(key, "one file stands in the list twice: only new readings scatter")
        return tuple(found)

    def tables(self, key: str) -> list[dict[str, Any]]:
        """A list of tables, as ``[[key]]`` makes them.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        list of dict
            Empty where the key is absent.
        """
        value = self.table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.fail(key, f"expected tables headed [[{key}]]")
        return value

    def inner(self, key: str) -> "Keys":
        """A table inside this one, as ``[key]`` makes it.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        Keys
            Empty where the key is absent.
        """
        value = self.table.get(key, {})
        if not isinstance(value, dict):
            raise self.fail(key, f"expected a table headed [{key}]")
        return Keys(value, f"[{key}]", self.folder)

    def choice(self, key: str, among: Iterable[str], default: str | None = None) -> str:
        """One of a few words.

        Parameters
        ----------
        key : str
            The key.
        among : iterable of str
            The words allowed.
        default : str, optional
            Value where the key is absent.

        Returns
        -------
        str
            The word.
        """
        value = self.text(key, default)
        if value not in among:
            raise self.fail(key, f"'{value}' is none of {', '.join(among)}")
        return value


def _show(value: Any) -> str:
    """A value as the user may know it again, in at most 60 characters."""
    text = repr(value) if isinstance(value, str) else as_text(value)
    text = re.sub(r"Decimal\('(.*?)'\)", r"\1", text)
    return text if len(text) <= 60 else text[:57] + "..."


def as_text(value: Any) -> str:
    """A value of any kind as text.

    Parameters
    ----------
    value : object
        As the TOML parser gave it.

    Returns
    -------
    str
        Its text; words where it is a number too long to be written out.
    """
    try:
        return str(value)
    except ValueError:
        return "a number of thousands of digits"


def first_of(keys: Keys, candidates: Iterable[str], reason: Callable[[str], str]) -> str:
    """The one key of several that is there.

    Parameters
    ----------
    keys : Keys
        The table.
    candidates : iterable of str
        Keys of which exactly one must stand in it.
    reason : callable
        Turns the list of candidates into the sentence for none or too many.

    Returns
    -------
    str
        The key.
    """
    candidates = list(candidates)
    present = [c for c in candidates if c in keys.table]
    if len(present) != 1:
        raise keys.fail("", reason(", ".join(candidates)))
    return present[0]
