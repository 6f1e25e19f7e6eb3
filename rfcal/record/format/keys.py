"""What may stand in a record: each key is described once, and read by its description.

From the same description come the refusals, the nearest known key, the record that ``rfcal new``
writes and the table of keys in the README. A key of a kind of its own is a subclass of `Key`.
"""

from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass
from typing import Any

from rfcal.record.format.table import Table


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
    gives: str = ""  # name of its value in the model, where that is the key's only use

    def read(self, table: Table) -> Any:
        """The value in SI, or what stands in for it."""
        if self.name in table:
            return self._value(table, table.values[self.name])
        if self.needed:
            raise table.missing(self.name, self.wanted)
        return self.default

    def _value(self, table: Table, found: Any) -> Any:
        """What stands there in SI, or a refusal."""
        raise NotImplementedError

    @property
    def wanted(self) -> str:
        """What must be given, in words with an article."""
        return f"a {self.form}"

    @property
    def form(self) -> str:
        """What is written, in words."""
        raise NotImplementedError

    @property
    def usual(self) -> str:
        """What stands in where the key is absent, in words."""
        if self.needed:
            return "must be there"
        return self.instead or ("" if self.default is None else str(self.default))


@dataclass(frozen=True)
class Section:
    """One table of the record: its header, what it is for, and all that may stand in it."""

    header: str
    says: str
    keys: tuple[Key, ...]
    # of a table that has kinds: which it is, and that in words
    kind: Callable[[Table], tuple[str, str]] | None = None
    readings: tuple[Key, ...] = ()  # keys of which exactly one says where its raw reading is
    below: tuple[str, ...] = ()  # tables inside it

    @property
    def name(self) -> str:
        """The header without its brackets and without the table that it stands in."""
        return self.header.strip("[]").split(".")[-1]

    def kind_of(self, table: Table) -> tuple[str, str]:
        """Which kind of its section a table is, and that in words; empty where there are none."""
        return self.kind(table) if self.kind else ("", "")

    def read(self, table: Table) -> dict[str, Any]:
        """Values in SI of all keys that may stand in a table of this kind."""
        table.only((*(key.name for key in self.keys), *self.below))
        if self.readings:
            table.one_of((key.name for key in self.readings), "give the raw reading")
        kind, words = self.kind_of(table)
        own = [key for key in self.keys if not (kind and key.kinds) or kind in key.kinds]
        for key in self.keys:
            if key.name in table and key not in own:
                raise table.fail(key.name, f"this key has no meaning for {words}")
        return {key.name: key.read(table) for key in own}
