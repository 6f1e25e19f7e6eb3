"""A table of ``record.toml`` as it stands there, and its place, which each refusal names."""

import difflib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rfcal.errors import RecordError

FILE = "record.toml"

LATER = ("x_sign",)
"""Keys of record format 1 that this version of rfcal does not compute yet."""


class Table:
    """One table of the record, as the TOML parser gave it."""

    # `place` says where it stands, such as ``[[standard]] 2 ('load')``; empty for the top level
    def __init__(self, values: dict[str, Any], place: str, folder: Path):
        self.values, self.place, self.folder = values, place, folder

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def fail(self, key: str, message: str) -> RecordError:
        """An error that names file, place and key (empty for the table as a whole)."""
        return RecordError(FILE, " ".join(filter(None, (self.place, key))), message)

    def missing(self, key: str, what: str) -> RecordError:
        """The error for a key that must be there."""
        return self.fail(key, f"this key is missing, and {what} is needed")

    def only(self, allowed: Iterable[str]) -> None:
        """Refuse keys that the format does not know, or that come in a later version."""
        allowed = list(allowed)
        for key in self.values:
            if key in allowed:
                continue
            if key in LATER:
                raise self.fail(key, "this version of rfcal does not compute this key yet")
            near = [k for k in allowed if key in k.split("_")]
            near = near or [k for k in allowed if key in k]
            near = near or difflib.get_close_matches(key, allowed, 1, 0)
            raise self.fail(key, f"unknown key; the nearest known one is '{near[0]}'")

    def one_of(self, candidates: Iterable[str], reason: str) -> str:
        """The one key of several that is there; `reason` begins the sentence for none or more."""
        candidates = list(candidates)
        present = [c for c in candidates if c in self]
        if len(present) != 1:
            raise self.fail("", f"{reason} by exactly one of {', '.join(candidates)}")
        return present[0]

    def inner(self, key: str) -> "Table":
        """A table inside this one, as ``[key]`` makes it; empty where the key is absent."""
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.fail(key, f"expected a table headed [{key}]")
        return Table(value, f"[{key}]", self.folder)

    def tables(self, key: str, place: str) -> list["Table"]:
        """Tables as ``[[key]]`` makes them, their place numbered; none where the key is absent."""
        found = self.values.get(key, [])
        if not isinstance(found, list) or not all(isinstance(v, dict) for v in found):
            raise self.fail(key, f"expected tables headed [[{key}]]")
        return [Table(v, f"{place} {i}", self.folder) for i, v in enumerate(found, start=1)]


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
