"""Every topology that is tried, in one table: a new one is a design and its row here."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import permutations, product

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching import designs
from rfcal.matching.designs import Point
from rfcal.matching.element import SECTION, SERIES, SHUNT
from rfcal.matching.network import Network
from rfcal.models.line import Line

Design = Callable[[], tuple[Network, ...]]
"""Every solution of a closed form; raises MatchingError where there is none."""
ENDS = ("open", "short")


@dataclass(frozen=True, eq=False)
class Task:
    """What a closed form is to match, and what may be chosen in it."""

    at: Point
    enough_swr: float  # SWR [1] that a single reactance must reach
    available: tuple[Line, ...]  # lines to cut from, of any length
    q: float | None = None  # of pi and T sections [1]
    phase_rad: float | None = None  # of pi and T sections, in place of their Q

    def by(self, design: Callable[..., tuple[Network, ...]], **keywords) -> Design:
        """The design for this load."""
        return partial(design, self.at, **keywords)

    def q_between(self, resistance: float) -> float:
        """The Q asked for, else one that leaves the L section at the least Q behind."""
        low, high = sorted((resistance, self.at.target_ohm))
        return self.q or float(np.sqrt(high / low))

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """The lines as a design takes them: without loss."""
        return tuple(replace(line, conductor_db=0.0, dielectric_db=0.0) for line in self.available)

    @property
    def main_line(self) -> tuple[Line, ...]:
        """The line that is nearest to the target, or none."""
        return tuple(sorted(self.lines, key=lambda line: abs(line.z0 - self.at.target_ohm))[:1])


@dataclass(frozen=True)
class Topology:
    """A row of the table."""

    designs: Callable[[Task], Iterable[Design]]  # with all that is to be varied in it
    # where the parts of each of its networks lie, source to load, by its name as it is printed
    places: Mapping[str, tuple[tuple[str, ...], ...]]
    chosen: bool = False  # whether a Q or a phase can be asked for


def _sections(task: Task, shape: str) -> Iterator[Design]:
    if task.phase_rad is None:
        resistance = task.at.load_ohm.real if shape == "T" else 1 / (1 / task.at.load_ohm).real
        yield task.by(designs.by_q, shape=shape, q=task.q_between(resistance))
    else:
        yield task.by(designs.by_phase, shape=shape, phase_rad=task.phase_rad)


def _stubs(task: Task, place: str) -> Iterator[Design]:
    for line, end in product(task.main_line, ENDS):
        yield task.by(designs.single_stub, line=line, place=place, end=end)


def _double_stubs(task: Task) -> Iterator[Design]:
    for line, end, waves in product(task.main_line, ENDS, (1 / 8, 3 / 8)):
        yield partial(_double_stub, task, line, end, waves)


def _double_stub(task: Task, line: Line, end: str, spacing_waves: float) -> tuple[Network, ...]:
    """The first stub at the load, or else at the nearest eighth of a wave that will do."""
    refusals = []
    for first in (0.0, 0.125, 0.25, 0.375):
        how = {"line": line, "end": end, "spacing_waves": spacing_waves, "first_waves": first}
        try:
            return task.by(designs.double_stub, **how)()
        except MatchingError as error:
            refusals.append(error)
    raise refusals[0]


STUB = ((SHUNT, SECTION), (SHUNT,))
SERIES_STUB = ((SERIES, SECTION), (SERIES,))
DOUBLE_STUB = ((SHUNT, SECTION, SHUNT), (SHUNT, SECTION) * 2)

TOPOLOGIES = {
    "single": Topology(
        lambda task: [task.by(designs.single, enough_swr=task.enough_swr)],
        {"single series reactance": ((SERIES,),), "single shunt reactance": ((SHUNT,),)},
    ),
    "L": Topology(
        lambda task: [task.by(designs.l_section)],
        {"L, series part at load": ((SHUNT, SERIES),), "L, shunt part at load": ((SERIES, SHUNT),)},
    ),
    "pi": Topology(partial(_sections, shape="pi"), {"pi": ((SHUNT, SERIES, SHUNT),)}, chosen=True),
    "T": Topology(partial(_sections, shape="T"), {"T": ((SERIES, SHUNT, SERIES),)}, chosen=True),
    "shunt stub": Topology(
        partial(_stubs, place=SHUNT), {f"shunt stub, {end}": STUB for end in ENDS}
    ),
    "series stub": Topology(
        partial(_stubs, place=SERIES), {f"series stub, {end}": SERIES_STUB for end in ENDS}
    ),
    "double stub": Topology(_double_stubs, {f"double stub, {end}": DOUBLE_STUB for end in ENDS}),
    "quarter wave": Topology(
        lambda task: [task.by(designs.quarter_wave, line=line) for line in task.main_line],
        {
            "quarter wave": ((SECTION,),),
            "quarter wave, series part at load": ((SECTION, SERIES),),
            "quarter wave, shunt part at load": ((SECTION, SHUNT),),
            "quarter wave, line at load": ((SECTION, SECTION),),
        },
    ),
    "two sections": Topology(
        lambda task: [
            task.by(designs.two_sections, near=near, far=far)
            for near, far in permutations(task.lines, 2)
        ],
        {"two sections": ((SECTION, SECTION),)},
    ),
}
