"""A network by its name and its parts as they are printed, the transmitter's end first.

Such as ``"L, series part at load, low-pass"`` of ``"33 pF"`` and ``"39 nH"``.
"""

import re
from collections.abc import Sequence
from dataclasses import replace

from rfcal.errors import MatchingError
from rfcal.matching.element import SECTION, Part
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import TOPOLOGIES

PLACES = {name: places for row in TOPOLOGIES.values() for name, places in row.places.items()}
"""Where the parts of a network of each name lie, source to load, by how many it has."""
FORMER = {
    "quarter wave, tuned by series reactance": "quarter wave, series part at load",
    "quarter wave, tuned by shunt reactance": "quarter wave, shunt part at load",
    "quarter wave, tuned by line": "quarter wave, line at load",
}
"""Names that were printed once, and stand in records."""
PREFIX = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "μ": 1e-6, "u": 1e-6, "m": 1e-3, "": 1.0}
LUMPED = re.compile(r"(\d+(?:\.\d+)?) ?([pnµμum]?)([HF])")
PIECE = re.compile(r"(\d+(?:\.\d+)?) ?(m|mm) of (\d+(?:\.\d+)?) ohm")
EXAMPLE = "such as '33 pF', '39 nH' or '0.201 m of 50 ohm'"


def as_printed(topology: str, parts: Sequence[str], stock: Stock) -> Network:
    """The network of real parts."""
    form = next((f for f in ("low-pass", "high-pass") if topology.endswith(f", {f}")), "")
    name = topology.removesuffix(f", {form}")
    name = FORMER.get(name, name)
    if name not in PLACES:
        raise MatchingError(f"'{topology}' is no network: take of {'; '.join(PLACES)}")
    places = next((p for p in PLACES[name] if len(p) == len(parts)), None)
    if places is None:
        counts = " or ".join(str(len(p)) for p in PLACES[name])
        raise MatchingError(f"'{name}' has {counts} parts, source to load, found {len(parts)}")
    end = name.rpartition(", ")[2]
    found = [
        (place, _part(text, place, end, stock)) for place, text in zip(places, parts, strict=True)
    ]
    network = stock.realise(Network.of(name, found))[0]
    if form and network.form != form:
        raise MatchingError(f"{', '.join(parts)} make no {form} of '{name}'")
    return network


def _part(text: str, place: str, end: str, stock: Stock) -> Part:
    """One part by its words, at a place; a stub's end is `end`."""
    stub = end in ("open", "short")
    if lumped := LUMPED.fullmatch(text.strip()):
        number, prefix, unit = lumped.groups()
        value = float(number) * PREFIX[prefix]
        if value > 0 and place != SECTION and not stub:
            return Inductor(value) if unit == "H" else Capacitor(value)
    elif piece := PIECE.fullmatch(text.strip()):
        length = float(piece[1]) * (1e-3 if piece[2] == "mm" else 1.0)
        line = next((a for a in stock.lines if f"{a.z0:.3g}" == f"{float(piece[3]):.3g}"), None)
        if line is None:
            raise MatchingError(f"'{text}': no line of {piece[3]} ohm is among those to cut from")
        if length > 0 and (stub or place == SECTION):
            cut = replace(line, length_m=length)
            return cut if place == SECTION else Stub(cut, end)
    raise MatchingError(
        f"'{text}' is no part that can lie here in {place}: write it as printed, {EXAMPLE}"
    )
