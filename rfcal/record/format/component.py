"""``[[component]]``: a measurement whose device is a part, and what part it is."""

from collections.abc import Sequence
from dataclasses import dataclass

from rfcal.components.fit import MODELS
from rfcal.components.throughs import METHODS
from rfcal.record.format.keys import Placed, Section, Table
from rfcal.record.format.kinds import Choice, File, Number, Text

ABSOLUTE_ZERO_C = -273.15
THROUGHS = METHODS[1:]
"""Methods that need two ports."""

FIXTURE = _OPEN, _SHORT, _LOAD = "fixture_open", "fixture_short", "fixture_load"
"""Keys of what a fixture is read with."""
_EMPTY = "two-port sweep of the empty way from port to port"

METHOD = Choice(
    "method",
    "how it was connected: at one port, or between two, whose sweep is its `reading` then",
    default="reflection",
    among=METHODS,
)
COMPONENT = Section(
    "[[component]]",
    "What part a device is: an equivalent circuit fitted over its sweep, with its values.",
    (
        Text("measurement", "of which measurement", needed=True),
        Choice(
            "model",
            "circuit that is fitted; of several the one that the sweep shows",
            default="all",
            among=MODELS,
        ),
        METHOD,
        File("through", _EMPTY, needed=True, kinds=THROUGHS),
        File(_OPEN, "sweep of the fixture without the part", beside=_SHORT),
        File(_SHORT, "and with a piece of wire in its place", beside=_OPEN),
        File(
            _LOAD,
            "and with a load of `reference_ohm` in its place, if there is one",
            beside=_OPEN,
        ),
        Number("temperature_c", "its temperature", ABSOLUTE_ZERO_C, 5000.0),
    ),
    kind=METHOD.read,
    kinds={
        "reflection": "a part at one port",
        "series-through": "a part in series between two ports",
        "shunt-through": "a part across the way between two ports",
    },
)


@dataclass(frozen=True)
class ComponentRequest(Placed):
    """One part of a record."""

    measurement: str
    model: str
    temperature_c: float | None
    method: str = "reflection"
    through: str | None = None  # file
    fixture: tuple[str, ...] = ()  # files: open, short and, where there is one, load

    @property
    def between_ports(self) -> bool:
        """Whether it is a sweep of two ports that tells."""
        return self.method != "reflection"


def read_components(
    tables: Sequence[Table], measurements: Sequence[str]
) -> tuple[ComponentRequest, ...]:
    """All parts of a record; `measurements` are the names that they may have."""
    found: list[ComponentRequest] = []
    for table in tables:
        values = COMPONENT.read(table)
        name = values["measurement"]
        table.one_among("measurement", name, measurements)
        if name in (one.measurement for one in found):
            raise table.fail("measurement", f"'{name}' is a [[component]] already")
        fixture = tuple(filter(None, [values.pop(key) for key in FIXTURE]))
        found.append(ComponentRequest.made(table, values, fixture=fixture))
    return tuple(found)
