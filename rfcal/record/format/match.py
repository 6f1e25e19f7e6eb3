"""``[match]``: which networks a record asks for."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.parts import E_SERIES
from rfcal.matching.ranking import Ranking, rank
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import CHOSEN, TOPOLOGIES, as_printed
from rfcal.models.cables import CABLES, cable_type
from rfcal.models.line import Line
from rfcal.record.format.keys import Key, Section, Stated, Table
from rfcal.record.format.kinds import OHM, Choice, File, Number, Text, Words, all_texts
from rfcal.record.format.line import NEEDED, line_of
from rfcal.record.format.reading import HOW, READING, Reading, read_reading

PLACES = ("device", "calibration plane")

OWN_LINE = Section("lines", "A line of your own to cut from.", NEEDED)


class FrequencyRange(Key):
    """Two frequencies [Hz] that ascend."""

    form = "two frequencies in MHz, such as [70.0, 70.5]"

    def _fits(self, found: Any) -> bool:
        return isinstance(found, list) and len(found) == 2

    def _value(self, table: Table, found: Any) -> tuple[float, float]:
        low, high = (table.finite(self.name, v) * 1e6 for v in super()._value(table, found))
        if not 0 < low < high:
            raise table.fail(self.name, f"{low / 1e6:g} and {high / 1e6:g} do not ascend from 0")
        return low, high


class Place(Key):
    """A word, or metres from the device."""

    form = "`device`, `calibration plane` or [metres from the device]"

    def _fits(self, found: Any) -> bool:
        return isinstance(found, str) or (isinstance(found, list) and len(found) == 1)

    def _value(self, table: Table, found: Any) -> str | float:
        if isinstance(super()._value(table, found), str):
            return table.one_among(self.name, found, PLACES)
        return table.finite(self.name, found[0])


class Lines(Key):
    """Lines to cut from, by type or by figures of the user's own."""

    form = (
        'a list of types and of lines of your own, such as ["RG-213", {z0_ohm = 75, '
        "velocity_factor = 0.66, loss_db_per_100m = [[10.0, 2.0]]}]"
    )

    def _fits(self, found: Any) -> bool:
        return isinstance(found, list) and bool(found)

    def _value(self, table: Table, found: Any) -> tuple[Line, ...]:
        lines = enumerate(super()._value(table, found), start=1)
        return tuple(self._line(table, one, i) for i, one in lines)

    def _line(self, table: Table, one: object, number: int) -> Line:
        if isinstance(one, str):
            return CABLES[table.one_among(self.name, cable_type(one), CABLES)].line(1.0)
        if not isinstance(one, dict):
            raise table.fail(self.name, f"entry {number} is neither a type nor a line of your own")
        own = table.inside(one, f"{table.place} {self.name} {number}")
        return line_of(OWN_LINE.read(own), None, 1.0)


@dataclass(frozen=True)
class Built:
    """What was built, and the sweep of it."""

    reading: Reading
    topology: str = ""  # as the page prints it; none for the first network of the list
    parts: tuple[str, ...] = ()  # as the page prints them, from the transmitter's side


class BuiltKey(File):
    """The reading after building, and which network was built."""

    form = (
        "a file, or {`topology`, `parts`} as the page prints them with `reading`, `typed` or "
        "`typed_reflection`"
    )

    def _value(self, table: Table, found: Any) -> Built:
        if not isinstance(found, dict):
            return Built(Reading((super()._value(table, found),)))
        own = table.inside(found, f"{table.place} {self.name}")
        stated = BUILT.read(own)
        reading = read_reading(own, stated)
        if reading.shows_less:
            why = "R and X with its sign are needed here, none of them beyond the display"
            raise own.fail("", f"{why}: sweep it into a file")
        return Built(reading, stated["topology"] or "", tuple(stated["parts"] or ()))


class Printed(Key):
    """Parts as they are printed, one by one or in a row."""

    form = 'parts as printed, such as ["33 pF", "39 nH"] or "shunt C1 33 pF, series L1 39 nH"'

    def _fits(self, found: Any) -> bool:
        return isinstance(found, str) or all_texts(found)

    def _value(self, table: Table, found: Any) -> Any:
        row = super()._value(table, found)
        return re.split(r", (?:then )?", row) if isinstance(row, str) else row


_FIRST, _PARTS = "the first network of the list", "its parts, from the transmitter's side"
BUILT = Section(
    "built",
    "What was built, in the words of the page.",
    (
        Text("topology", "the network's name", instead=_FIRST, beside="parts"),
        Printed("parts", _PARTS, instead=_FIRST, beside="topology"),
        *(*READING, *HOW),
    ),
    readings=READING,
)


class Phase(Number):
    """A number of degrees that a section can turn by."""

    form = "a number of degrees, -180 to 180"

    def _value(self, table: Table, found: Any) -> float:
        phase = super()._value(table, found)
        if min(abs(phase), 180 - abs(phase)) < 0.1:
            why = f"{phase:g} is no phase of a section: not 0 nor half a turn"
            raise table.fail(self.name, why)
        return phase


_SECTION_Q = (
    "Q of pi and T sections, the larger one of both sides; where neither this nor a phase is "
    "given, values go where the band is best"
)
SECTION_Q = Number("section_q", _SECTION_Q, 0.0, 1e3, above=True)
_PHASE = "or how far the load side lags: a pi's voltage, a T's current"
PHASE = Phase("phase_deg", _PHASE, -180.0, 180.0, above=True)
_OWN = "that of the coil as it would be wound"
STOCK = (
    Choice("series", "preferred values", among=E_SERIES, default=defaults.PREFERRED),
    Number("inductor_q", "Q of coils", 1.0, 1e6, default=defaults.INDUCTOR_Q),
    Number("capacitor_q", "Q of capacitors", 1.0, 1e6, default=defaults.CAPACITOR_Q),
    Number("inductor_parallel_f", "a coil's own capacitance", 0.0, 1e-6, instead=_OWN),
    Number("capacitor_series_h", "inductance of a capacitor's leads", 0.0, 1e-3, default=0.0),
)
"""Keys of the parts that exist, by the names that `Stock` gives them."""
LINES = Lines(
    "lines",
    "what stubs and sections are cut from",
    instead=f"{' and '.join(f'{z0:g}' for z0 in defaults.STOCK_OHM)} ohm with the other figures of "
    f"{defaults.STOCK_CABLE}",
)
_SWR, _TOLERANCE = (
    "the SWR to be reached",
    (
        "how far coils and capacitors may be off; where it is not stated, coils wound by hand "
        f"{100 * defaults.WOUND_TOLERANCE:g} %"
    ),
)
_BUILT = (
    "reading after building, through the same path as the device: it tells which part is off; "
    "without a name it is of the first network of the list"
)
_PLACE = "where the network goes; metres count from the device on a line known by its figures"
_DESIGN = "middle of the band, or the answer's"
MATCH = Section(
    "[match]",
    "Networks that match a device, of parts that can be bought and cut; several as `[[match]]`.",
    (
        Text("measurement", "name of the device", instead="the first"),
        Number("frequency_mhz", "design frequency", 0.0, above=True, instead=_DESIGN),
        FrequencyRange("band_mhz", "where the SWR counts", instead="the frequency alone"),
        Number("power_w", "power, for volts and amperes", 1e-6, 1e6, default=defaults.POWER_W),
        Number("target_ohm", "what the device is to become", *OHM, instead="`reference_ohm`"),
        Number("target_swr", _SWR, 1.0, 100.0, above=True, default=defaults.TARGET_SWR),
        *STOCK,
        Number("tolerance_percent", _TOLERANCE, 0.0, 0.5, default=defaults.TOLERANCE),
        LINES,
        Words("topologies", "which are tried", among=TOPOLOGIES),
        SECTION_Q,
        PHASE,
        Place("place", _PLACE, default="device"),
        BuiltKey("built", _BUILT),
    ),
)


@dataclass(frozen=True)
class MatchRequest(Stated):
    """One table ``[match]``."""

    table: Table  # that it was read from, for errors
    centre_hz: float  # nan for the frequency of the answer, until it is `settled`
    band_hz: tuple[float, float]  # the design frequency twice where it alone counts
    measurement: str  # its name
    target_ohm: float
    target_swr: float
    stock: Stock  # parts that exist
    topologies: tuple[str, ...]
    place: str | float  # of `PLACES`, or metres from the device on the line between
    built: Built | None
    built_network: Network | None = None  # where it is named
    section_q: float | None = None
    phase_deg: float | None = None

    def settled(self, answer_hz: float) -> "MatchRequest":
        """The request with the answer's frequency where it states none."""
        if not math.isnan(self.centre_hz):
            return self
        return replace(self, centre_hz=answer_hz, band_hz=(answer_hz, answer_hz))

    def ranked(self, goal: Goal) -> Ranking:
        """The networks that come near a goal, of what is asked for."""
        phase = None if self.phase_deg is None else math.radians(self.phase_deg)
        asked = self.topologies
        return rank(goal, stock=self.stock, topologies=asked, q=self.section_q, phase_rad=phase)


def read_match(table: Table, reference_ohm: float, names: Sequence[str]) -> MatchRequest:
    """One match table of a record, whose measurements have these names."""
    found = MATCH.read(table)
    if not names:
        raise table.fail("measurement", "there is no [[measurement]] to match")
    found["measurement"] = table.one_among("measurement", found["measurement"] or names[0], names)
    found["target_ohm"] = found["target_ohm"] or reference_ohm
    _require_one_section(table, found["topologies"])
    # design frequency and band [Hz] follow from each other where one is missing
    centre, band = found.pop("frequency_mhz"), found.pop("band_mhz")
    centre = centre or (sum(band) / 2 if band else math.nan)
    band = band or (centre, centre)
    cable = CABLES[defaults.STOCK_CABLE].line(1.0)
    usual = tuple(replace(cable, z0=z0) for z0 in defaults.STOCK_OHM)
    parts = {key.name: found.pop(key.name) for key in STOCK}
    cut, off, power_w = (found.pop(k) for k in ("lines", "tolerance_percent", "power_w"))
    hand = None if "tolerance_percent" in table else defaults.WOUND_TOLERANCE
    limits = {"tolerance": off, "wound_tolerance": hand, "power_w": power_w}
    stock = Stock(lines=cut or usual, **limits, **parts)
    built = _built_network(table, found["built"], stock)
    own = {"table": table, "centre_hz": centre, "band_hz": band, "stock": stock}
    return MatchRequest.made(table, found, built_network=built, **own)


def _built_network(table: Table, built: Built | None, stock: Stock) -> Network | None:
    """The network that was built, where it is named."""
    try:
        return as_printed(built.topology, built.parts, stock) if built and built.topology else None
    except MatchingError as error:
        raise table.fail("built", str(error)) from error


def _require_one_section(table: Table, topologies: Sequence[str]) -> None:
    """Refuse Q and phase of pi and T sections together, or where there are none."""
    asked = [key.name for key in (SECTION_Q, PHASE) if key.name in table]
    if len(asked) == 2:
        raise table.fail(asked[1], "a section has a chosen Q or a chosen phase: take out one")
    if asked and not set(CHOSEN) & set(topologies):
        raise table.fail(asked[0], "no topology here is a pi or T section, which it is for")
