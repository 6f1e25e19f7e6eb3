"""``[[component]]``: a measurement whose device is a part, and what part it is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rfcal.components.choice import MODELS
from rfcal.components.throughs import METHODS
from rfcal.record.format.keys import Section, Table
from rfcal.record.format.kinds import Choice, File, Number, Text

ABSOLUTE_ZERO_C = -273.15
THROUGHS = METHODS[1:]
"""Methods that need two ports."""

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
        Choice(
            "method",
            "how it was connected: at one port, or between two, whose sweep is its `reading` then",
            default="reflection",
            among=METHODS,
        ),
        File("through", "two-port sweep of the empty way from port to port", kinds=THROUGHS),
        File("fixture_open", "sweep of the fixture without the part"),
        File("fixture_short", "and with a piece of wire in its place"),
        File("fixture_load", "and with a load of `reference_ohm` in its place, if there is one"),
        Number("temperature_c", "its temperature", "°C", ABSOLUTE_ZERO_C, 5000.0),
    ),
    kind=lambda table: str(table.values.get("method", "reflection")),
    kinds={
        "reflection": "a part at one port",
        "series-through": "a part in series between two ports",
        "shunt-through": "a part across the way between two ports",
    },
)


@dataclass(frozen=True)
class ComponentRequest:
    """One part of a record."""

    measurement: str
    place: str  # where it stands in the record, for errors
    model: str
    temperature_c: float | None
    method: str = "reflection"
    through: str | None = None  # file
    fixture: tuple[str, ...] = ()  # files: open, short and, where there is one, load

    @property
    def between_ports(self) -> bool:
        """Whether it is a sweep of two ports that tells."""
        return self.method != "reflection"


def _fixture(table: Table, values: Mapping[str, Any]) -> tuple[str, ...]:
    """The files of a fixture; open and short go together."""
    opened, shorted, load = (values[f"fixture_{end}"] for end in ("open", "short", "load"))
    if (shorted or load) and not opened:
        raise table.missing("fixture_open", "a sweep of the same fixture")
    if (opened or load) and not shorted:
        raise table.missing("fixture_short", "a sweep of the same fixture")
    files = (opened, shorted, load)
    return tuple(file for file in files if file)


def read_components(
    tables: Sequence[Table], measurements: Sequence[str]
) -> tuple[ComponentRequest, ...]:
    """All parts of a record; `measurements` are the names that they may have."""
    found: list[ComponentRequest] = []
    for table in tables:
        values = COMPONENT.read(table)
        name = values["measurement"]
        if name not in measurements:
            known = (
                f"expected one of {', '.join(measurements)}" if measurements else "there is none"
            )
            raise table.fail("measurement", f"no [[measurement]] is named '{name}': {known}")
        if name in (one.measurement for one in found):
            raise table.fail("measurement", f"'{name}' is a [[component]] already")
        if values["method"] in THROUGHS and not values["through"]:
            raise table.missing("through", "a two-port sweep of the empty way")
        found.append(
            ComponentRequest(
                name,
                table.place,
                values["model"],
                values["temperature_c"],
                values["method"],
                values.get("through"),
                _fixture(table, values),
            )
        )
    return tuple(found)
