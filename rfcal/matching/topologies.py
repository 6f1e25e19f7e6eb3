"""Every topology that is tried, in one table: a new one is a design and its row here.

By its name and its parts as they are printed a network is found again, the transmitter's end first:
``"L, series part at load, low-pass"`` of ``"33 pF"`` and ``"39 nH"``.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import permutations, product

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching import designs
from rfcal.matching.designs import Point
from rfcal.matching.network import SECTION, SERIES, SHUNT, AnyPart, Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.stock import Stock
from rfcal.models.line import Line

Design = Callable[[], tuple[Network, ...]]
"""Every solution of a closed form; raises MatchingError where there is none."""
ENDS = ("open", "short")


@dataclass(frozen=True, eq=False)
class Task:
    """What a closed form is to match, and what may be chosen in it."""

    at: Point
    enough_swr: float  # SWR [1] that a single reactance must reach
    lines: tuple[Line, ...]  # to cut from, of any length and without loss
    q: float | None = None  # of pi and T sections [1]
    phase_rad: float | None = None  # of pi and T sections, in place of their Q

    def by(self, design: Callable[..., tuple[Network, ...]], **keywords) -> Design:
        """The design for this load."""
        return partial(design, self.at, **keywords)

    @property
    def main_line(self) -> Line:
        """The line that is nearest to the target."""
        return min(self.lines, key=lambda line: abs(line.z0 - self.at.target_ohm))


def _sections(task: Task, shape: str) -> list[Design]:
    if task.phase_rad is not None:
        return [task.by(designs.by_phase, shape=shape, phase_rad=task.phase_rad)]
    z, target = task.at.load_ohm, task.at.target_ohm
    times = (z.real if shape == "T" else 1 / (1 / z).real) / target
    # where none is asked for, one that leaves the L section at the least Q behind
    q = task.q or float(np.sqrt(max(times, 1 / times)))
    return [task.by(designs.by_q, shape=shape, q=q)]


def _stubs(task: Task, place: str) -> list[Design]:
    how = {"line": task.main_line, "place": place}
    return [task.by(designs.single_stub, end=end, **how) for end in ENDS]


def _double_stubs(task: Task) -> list[Design]:
    both = product(ENDS, (1 / 8, 3 / 8))
    return [partial(_double_stub, task, end, waves) for end, waves in both]


def _double_stub(task: Task, end: str, spacing_waves: float) -> tuple[Network, ...]:
    """The first stub at the load, or else at the nearest eighth of a wave that will do."""
    refusals = []
    for first in (0.0, 0.125, 0.25, 0.375):
        how = {"line": task.main_line, "spacing_waves": spacing_waves, "first_waves": first}
        try:
            return task.by(designs.double_stub, end=end, **how)()
        except MatchingError as error:
            refusals.append(error)
    raise refusals[0]


TOPOLOGIES: dict[str, Callable[[Task], list[Design]]] = {
    "single": lambda task: [task.by(designs.single, enough_swr=task.enough_swr)],
    "L": lambda task: [task.by(designs.l_section)],
    "pi": partial(_sections, shape="pi"),
    "T": partial(_sections, shape="T"),
    "shunt stub": partial(_stubs, place=SHUNT),
    "series stub": partial(_stubs, place=SERIES),
    "double stub": _double_stubs,
    "quarter wave": lambda task: [task.by(designs.quarter_wave, line=task.main_line)],
    "two sections": lambda task: [
        task.by(designs.two_sections, near=near, far=far)
        for near, far in permutations(task.lines, 2)
    ],
}
"""By the name that a record asks by: the designs with all that is to be varied in them."""
CHOSEN = ("pi", "T")
"""Of which a Q or a phase can be asked for."""
STUB = f"{SHUNT} stub"
PLACES: dict[str, tuple[tuple[str, ...], ...]] = {
    "single series reactance": ((SERIES,),),
    "single shunt reactance": ((SHUNT,),),
    "L, series part at load": ((SHUNT, SERIES),),
    "L, shunt part at load": ((SERIES, SHUNT),),
    "pi": ((SHUNT, SERIES, SHUNT),),
    "T": ((SERIES, SHUNT, SERIES),),
    **{
        f"{place} stub, {end}": ((f"{place} stub", SECTION), (f"{place} stub",))
        for place in (SHUNT, SERIES)
        for end in ENDS
    },
    **{
        f"double stub, {end}": ((STUB, SECTION, STUB), (STUB, SECTION, STUB, SECTION))
        for end in ENDS
    },
    "quarter wave": ((SECTION,),),
    "quarter wave, series part at load": ((SECTION, SERIES),),
    "quarter wave, shunt part at load": ((SECTION, SHUNT),),
    "quarter wave, line at load": ((SECTION, SECTION),),
    "two sections": ((SECTION, SECTION),),
}
"""Of each network by its printed name, where its parts lie, source to load, and which are stubs."""
PREFIX = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "μ": 1e-6, "u": 1e-6, "m": 1e-3, "": 1.0}
WHERE = rf"(?:({SERIES}|{SHUNT}|{SECTION}) )?(?:(?:L|C|stub |line )\d+ )?"
"""What is printed before a value: a place and a name."""
LUMPED = re.compile(rf"{WHERE}(\d+(?:\.\d+)?) ?([pnµμum]?)([HF])")
PIECE = re.compile(rf"{WHERE}(\d+(?:\.\d+)?) ?(m|mm) of (\d+(?:\.\d+)?) ohm")
EXAMPLE = "such as '33 pF', '39 nH' or '0.201 m of 50 ohm'"


def as_printed(topology: str, parts: Sequence[str], stock: Stock) -> Network:
    """The network of real parts."""
    form = next((f for f in ("low-pass", "high-pass") if topology.endswith(f", {f}")), "")
    name = topology.removesuffix(f", {form}")
    if name not in PLACES:
        raise MatchingError(f"'{topology}' is no network: take of {'; '.join(PLACES)}")
    places = next((p for p in PLACES[name] if len(p) == len(parts)), None)
    if places is None:
        counts = " or ".join(str(len(p)) for p in PLACES[name])
        raise MatchingError(f"'{name}' has {counts} parts, source to load, found {len(parts)}")
    end = name.rpartition(", ")[2]
    found = [
        (place.split()[0], _part(text, place, end, stock))
        for place, text in zip(places, parts, strict=True)
    ]
    network = stock.realise(Network.of(name, found))[0]
    if form and network.form != form:
        raise MatchingError(f"{', '.join(parts)} make no {form} of '{name}'")
    return network


def _part(text: str, place: str, end: str, stock: Stock) -> AnyPart:
    """One part by its words, at a place; a stub's end is `end`."""
    place, _, stub = place.partition(" ")
    if lumped := LUMPED.fullmatch(text.strip()):
        said, number, prefix, unit = lumped.groups()
        value = float(number) * PREFIX[prefix]
        if value > 0 and place != SECTION and not stub and said in (None, place):
            return Inductor(value) if unit == "H" else Capacitor(value)
    elif piece := PIECE.fullmatch(text.strip()):
        said, number, unit, ohm = piece.groups()
        length = float(number) * (1e-3 if unit == "mm" else 1.0)
        line = next((a for a in stock.lines if f"{a.z0:.3g}" == f"{float(ohm):.3g}"), None)
        if line is None:
            raise MatchingError(f"'{text}': no line of {ohm} ohm is among those to cut from")
        if length > 0 and (stub or place == SECTION) and said in (None, place):
            cut = replace(line, length_m=length)
            return cut if place == SECTION else Stub(cut, end)
    raise MatchingError(
        f"'{text}' is no part that can lie here in {place}: write it as printed, {EXAMPLE}"
    )
