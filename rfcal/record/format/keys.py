"""What may stand in a record: each key is described once, and read by its description.

From the same description come the refusals, the nearest known key, the record that ``rfcal new``
writes and the table of keys in the README. A key of a kind of its own is a subclass of `Key`.
"""

import difflib
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field, fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, ClassVar, Self

from rfcal.errors import RecordError
from rfcal.readings.csv import LARGEST_NUMBER

FILE = "record.toml"

PAIRED = ("typed_z_ohm", "typed_swr")
"""Two keys that may say of one reading what neither says alone."""


def as_text(value: Any) -> str:
    """A value of any kind as text; words where it is a number too long to be written out."""
    try:
        return str(value)
    except ValueError:
        return "a number of thousands of digits"
    except RecursionError:
        return "tables without end"


def cite(value: Any) -> str:
    """A value as the user may know it again, in at most 60 characters."""
    text = repr(value) if isinstance(value, str) else as_text(value)
    text = re.sub(r"Decimal\('(.*?)'\)", r"\1", text)
    return text if len(text) <= 60 else text[:57] + "..."


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What a table of the record says."""

    more: Mapping[str, Any] = field(default_factory=dict)  # values of keys that no field names

    @classmethod
    def made(cls, table: "Table", found: Mapping[str, Any], /, **own: Any) -> Self:
        """Of the values found in a table, and of what was made of some of them."""
        names, values = {one.name for one in fields(cls)}, {"place": table.place, **found}
        more = {key: value for key, value in found.items() if key not in names}
        named = {key: value for key, value in values.items() if key in names}
        return cls(**{"more": more, **named, **own})


@dataclass(frozen=True, kw_only=True)
class Placed(Stated):
    """The same where refusals name the place that it stands at."""

    place: str

    def refused(self, why: str) -> RecordError:
        """The error for what stands there."""
        return RecordError(FILE, self.place, why)


@dataclass(frozen=True)
class Table:
    """A table of the record as the TOML parser gave it, and its place, which refusals name."""

    values: dict[str, Any]
    place: str  # such as ``[[standard]] 2 ('load')``; empty for the top level
    folder: Path
    ahead: bool  # of a plan, whose readings need not be there yet
    sections: Sequence["Section"]  # all that there are

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def fail(self, key: str, message: str) -> RecordError:
        """An error that names file, place and key (empty for the table as a whole)."""
        return RecordError(FILE, " ".join(filter(None, (self.place, key))), message)

    def missing(self, key: str, what: str) -> RecordError:
        """The error for a key that must be there."""
        return self.fail(key, f"this key is missing, and {what} is needed")

    def one_among(self, key: str, word: Any, among: Iterable[str]) -> Any:
        """One of a few words or names."""
        if word not in (among := tuple(among)):
            there = ", ".join(among) or "those that could stand here: there are none"
            raise self.fail(key, f"{cite(word)} is none of {there}")
        return word

    def finite(self, key: str, found: Any) -> float:
        """A finite number that can be a measurement."""
        if isinstance(found, bool) or not isinstance(found, int | float | Decimal):
            raise self.fail(key, f"expected a number, found {cite(found)}")
        if not isinstance(found, int) and not math.isfinite(found):
            raise self.fail(key, f"expected a finite number, found {cite(found)}")
        if not -LARGEST_NUMBER <= found <= LARGEST_NUMBER:
            raise self.fail(key, f"{cite(found)} is beyond any measurement")
        return float(found)

    def only(self, allowed: Iterable[str]) -> None:
        """Refuse keys that the format does not know."""
        allowed = list(allowed)
        for key in (key for key in self.values if key not in allowed):
            if homes := [s.header for s in self.sections if key in (k.name for k in s.keys)]:
                raise self.fail(key, f"this key stands in {' or '.join(homes)}, not here")
            near = [k for k in allowed if key in k.split("_")] or [k for k in allowed if key in k]
            near = near or difflib.get_close_matches(key, allowed, 1, 0)
            raise self.fail(key, f"unknown key; the nearest known one is '{near[0]}'")

    def one_of(self, candidates: Sequence[str], reason: str) -> str:
        """The one key of several that is there; `reason` begins the sentence for none or more."""
        present = [c for c in candidates if c in self]
        if len(present) != 1:
            raise self.fail("", f"{reason} by exactly one of {', '.join(candidates)}")
        return present[0]

    def inside(self, values: dict[str, Any], place: str) -> "Table":
        """A table of the same record."""
        return replace(self, values=values, place=place)

    def inner(self, key: str) -> "Table":
        """A table inside this one, as ``[key]`` makes it; empty where the key is absent."""
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.fail(key, f"expected a table headed [{key}]")
        return self.inside(value, f"[{key}]")

    def tables(self, section: "Section") -> list["Table"]:
        """All tables of a section, their place numbered; none where there is none."""
        found, place = self.values.get(section.name, []), f"{self.place} {section.name}"
        if isinstance(found, dict) and not section.header.startswith("[["):
            found = [found]
        if not isinstance(found, list) or not all(isinstance(v, dict) for v in found):
            raise self.fail(section.name, f"expected tables headed {section.header}")
        place = place if self.place else section.header
        return [self.inside(v, f"{place} {i}") for i, v in enumerate(found, start=1)]


@dataclass(frozen=True)
class Key:
    """One key of a table: its name, what it says, and what stands in where it is absent."""

    name: str
    says: str  # one clause, as the README and the starting record print it
    _: KW_ONLY
    default: Any = None  # in SI, as it is read; None where nothing stands in
    needed: bool = False  # whether it must be there
    instead: str = ""  # what stands in, in words, where that follows from something else
    kinds: tuple[str, ...] = ()  # of which kinds of its table it may stand; of all where empty
    beside: str = ""  # another key without which it means nothing
    shown: bool = False  # whether a record begins with it, as its default
    of: ClassVar[type] = str  # what TOML makes of it

    def read(self, table: Table) -> Any:
        """The value in SI, or what stands in for it."""
        if self.name in table:
            return self._value(table, table.values[self.name])
        if self.needed:
            raise table.missing(self.name, self.wanted)
        return self.default

    def _value(self, table: Table, found: Any) -> Any:
        """What stands there in SI, or a refusal."""
        if not self._fits(found):
            raise table.fail(self.name, f"expected {self.wanted}, found {cite(found)}")
        return found

    def _fits(self, found: Any) -> bool:
        """Whether what stands there is of this kind at all."""
        return type(found) is self.of

    @property
    def form(self) -> str:
        """What is written, in words with an article."""
        raise NotImplementedError

    @property
    def wanted(self) -> str:
        """The same in full, with an example where that helps."""
        return self.form

    @property
    def usual(self) -> str:
        """What stands in where the key is absent, in words."""
        if self.needed:
            return "must be there"
        return self.instead or ("" if self.default is None else str(self.default))


def _no_kind(table: Table) -> str:
    """What tables are that are all of one kind."""
    return ""


@dataclass(frozen=True)
class Section:
    """One table of the record: its header, what it is for, and all that may stand in it."""

    header: str
    says: str
    keys: tuple[Key, ...]
    kind: Callable[[Table], str] = _no_kind  # which of its kinds a table is
    kinds: Mapping[str, str] = field(default_factory=dict)  # each in words
    readings: tuple[Key, ...] = ()  # keys of which exactly one says where its raw reading is
    below: tuple[str, ...] = ()  # tables inside it

    @property
    def name(self) -> str:
        """The header without its brackets and without the table that it stands in."""
        return self.header.strip("[]").split(".")[-1]

    def read(self, table: Table) -> dict[str, Any]:
        """Values in SI of all keys that may stand in a table of this kind."""
        table.only((*(key.name for key in self.keys), *self.below))
        names = [key.name for key in self.readings]
        stated = [name for name in names if name in table]
        if stated != [*PAIRED] and names and (stated or not table.ahead):
            table.one_of(names, "give the raw reading")
        kind = self.kind(table)
        own = [key for key in self.keys if not key.kinds or kind in key.kinds]
        for key in self.keys:
            if key.name in table and key not in own:
                of = " or ".join(self.kinds[one] for one in key.kinds)
                why = f"this key has no meaning for {self.kinds[kind]}, but for {of}"
                raise table.fail(key.name, why)
            if key.name in table and key.beside and key.beside not in table:
                why = f"this key means nothing without {key.beside}: state both or neither"
                raise table.fail(key.name, why)
        return {key.name: key.read(table) for key in own}
