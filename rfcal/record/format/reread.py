"""``[[reread]]``: the same artefact once more, after the devices."""

from collections.abc import Sequence
from dataclasses import dataclass

from rfcal.record.format.keys import Placed, Section, Table
from rfcal.record.format.kinds import OneLine
from rfcal.record.format.reading import HOW, READING, Reading, read_reading

REREAD = Section(
    "[[reread]]",
    "A standard or check connected and read once more after the devices: what moved in between "
    "shows, and counts.",
    (
        OneLine("of", "name of the standard or check that is read again", needed=True),
        *READING,
        *HOW,
    ),
    readings=READING,
)


@dataclass(frozen=True)
class Reread(Placed):
    """A second reading of an artefact."""

    name: str  # its label, such as ``"short, read again"``
    of: str  # name of the artefact
    place: str  # where it stands in the record, for errors
    reading: Reading


def read_rereads(tables: Sequence[Table], artefacts: Sequence[str]) -> tuple[Reread, ...]:
    """All rereads; `artefacts` are the names of standards and checks."""
    found: list[Reread] = []
    for table in tables:
        values = REREAD.read(table)
        table.named("of", of := values["of"], artefacts, "standard or check")
        before = sum(item.of == of for item in found)
        name = f"{of}, read again" + (f" ({before + 1})" if before else "")
        found.append(Reread(name, of, table.place, read_reading(table, values)))
    return tuple(found)
