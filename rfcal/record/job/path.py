"""From the record's words about a path to its elements as they are known."""

from pathlib import Path

from rfcal.measurement.bench import PathElement
from rfcal.readings.sweep import Sweep, TwoPortSweep, read_sweep, read_two_port
from rfcal.record.format.path import Between
from rfcal.record.format.schema import Record


def path_sweeps(record: Record, item: Between) -> tuple[Sweep | TwoPortSweep, ...]:
    """The files of one element: open and short, or an adapter; none for a cable."""
    folder: Path = record.folder
    if item.kind == "adapter":
        return (read_two_port(folder, item.files[0], label=item.name),)
    ends = zip(("open", "short"), item.files, strict=False)
    return tuple(
        read_sweep(folder, file, label=f"{item.name}, {end}", z_ref=record.reference_ohm)
        for end, file in ends
    )


def element(item: Between, sweeps: tuple[Sweep | TwoPortSweep, ...]) -> PathElement:
    """One element as it is known, from the record's words and its files."""
    first = sweeps[0] if sweeps else None
    ends = tuple(s for s in sweeps if isinstance(s, Sweep))
    return PathElement(
        item.name,
        first if isinstance(first, TwoPortSweep) else item.line or ends,
        fixture=item.kind == "fixture",
        deviations=item.doubt,
        embed=item.embed,
    )
