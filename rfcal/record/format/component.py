"""``[[component]]``: a measurement whose device is a part, and what part it is."""

from collections.abc import Sequence
from dataclasses import dataclass

from rfcal.components.choice import MODELS
from rfcal.record.format.keys import Section, Table
from rfcal.record.format.kinds import Choice, Number, Text

ABSOLUTE_ZERO_C = -273.15

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
        Number("temperature_c", "its temperature", "°C", ABSOLUTE_ZERO_C, 5000.0),
    ),
)


@dataclass(frozen=True)
class ComponentRequest:
    """One part of a record."""

    measurement: str
    place: str  # where it stands in the record, for errors
    model: str
    temperature_c: float | None


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
        found.append(ComponentRequest(name, table.place, values["model"], values["temperature_c"]))
    return tuple(found)
