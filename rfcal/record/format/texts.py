"""Keys that hold words: texts, dates, choices and files."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal.record.format.keys import Key
from rfcal.record.format.table import Table, show


def one_among(table: Table, key: str, word: Any, among: Iterable[str]) -> str:
    """One of a few words."""
    if not isinstance(word, str):
        raise table.fail(key, f"expected a text in quotes, found {show(word)}")
    if word not in among:
        raise table.fail(key, f"'{word}' is none of {', '.join(among)}")
    return word


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
        if not isinstance(found, str):
            raise table.fail(self.name, f"expected a text in quotes, found {show(found)}")
        if self.needed and not found.strip():
            raise table.fail(self.name, "this text is empty")
        return found


@dataclass(frozen=True)
class Line(Text):
    """A text of one line, with nothing in it that cannot be printed."""

    def _value(self, table: Table, found: Any) -> str:
        if not super()._value(table, found).isprintable():
            raise table.fail(
                self.name, f"expected one line of printable signs, found {show(found)}"
            )
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

    def _value(self, table: Table, found: Any) -> str:
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
        return tuple(one_among(table, self.name, word, self.among) for word in found)

    @property
    def form(self) -> str:
        """The words."""
        return f"list of {super().form}"


@dataclass(frozen=True)
class File(Key):
    """A file inside the record's folder, by its path relative to it."""

    form = "file"

    def _value(self, table: Table, found: Any) -> str:
        if not isinstance(found, str):
            raise table.fail(self.name, f"expected a text in quotes, found {show(found)}")
        if not found.strip():
            raise table.fail(self.name, "this text is empty")
        return self._inside(table, found)

    def _inside(self, table: Table, found: str) -> str:
        shown = show(found)
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
        if not there:
            raise table.fail(self.name, f"there is no file {shown} in the record's folder")
        return found


@dataclass(frozen=True)
class Files(File):
    """A file, or a list of two or more that repeat it; read as a tuple."""

    form = "file, or list of files"

    def _value(self, table: Table, found: Any) -> tuple[str, ...]:  # type: ignore[override]
        if not isinstance(found, list):
            return (super()._value(table, found),)
        if len(found) < 2 or not all(isinstance(v, str) for v in found):
            raise table.fail(
                self.name, f"expected a file, or a list of two or more, found {show(found)}"
            )
        paths = tuple(super(Files, self)._value(table, v) for v in found)
        if len({PurePosixPath(path) for path in paths}) < len(paths):
            raise table.fail(
                self.name, "one file stands in the list twice: only new readings scatter"
            )
        return paths
