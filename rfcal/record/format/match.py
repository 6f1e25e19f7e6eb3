"""``[match]``: which networks a record asks for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.matching.parts import E_SERIES
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import TOPOLOGIES
from rfcal.maths.checks import LEAST_OHM, MOST_OHM
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.format.cable import NEEDED, line_of
from rfcal.record.format.keys import Key, Section
from rfcal.record.format.numbers import Number, finite
from rfcal.record.format.table import Table
from rfcal.record.format.texts import Choice, File, Text, Words, one_among

PLACES = ("device", "calibration plane")

OWN_LINE = Section("lines", "A line of your own to cut from.", NEEDED)


@dataclass(frozen=True)
class Band(Key):
    """Two frequencies [Hz] that ascend."""

    form = "[low, high] in MHz"

    def _value(self, table: Table, found: Any) -> tuple[float, float]:
        if not isinstance(found, list) or len(found) != 2:
            raise table.fail(self.name, "expected two frequencies in MHz, such as [70.0, 70.5]")
        low, high = (finite(table, self.name, v) * 1e6 for v in found)
        if not 0 < low < high:
            raise table.fail(self.name, f"{low / 1e6:g} and {high / 1e6:g} do not ascend from 0")
        return low, high


@dataclass(frozen=True)
class Place(Key):
    """A word, or metres from the device."""

    form = "`device`, `calibration plane` or [metres]"

    def _value(self, table: Table, found: Any) -> str | float:
        if isinstance(found, str):
            return one_among(table, self.name, found, PLACES)
        if isinstance(found, list) and len(found) == 1:
            return finite(table, self.name, found[0])
        raise table.fail(
            self.name, "expected 'device', 'calibration plane' or [metres from the device]"
        )


@dataclass(frozen=True)
class Lines(Key):
    """Lines to cut from, by type or by figures of the user's own."""

    form = "list of cable types, or of {`z0_ohm`, `velocity_factor`, `loss_db_per_100m`}"

    def _value(self, table: Table, found: Any) -> tuple[Line, ...]:
        if not isinstance(found, list) or not found:
            raise table.fail(
                self.name,
                'expected a list of types and of lines of your own, such as ["RG-213", {z0_ohm = '
                "75, velocity_factor = 0.66, loss_db_per_100m = [[10.0, 2.0]]}]",
            )
        return tuple(self._line(table, one, i) for i, one in enumerate(found, start=1))

    def _line(self, table: Table, one: object, number: int) -> Line:
        if isinstance(one, str):
            return CABLES[one_among(table, self.name, one, CABLES)].line(1.0)
        if not isinstance(one, dict):
            raise table.fail(self.name, f"entry {number} is neither a type nor a line of your own")
        own = Table(one, f"{table.place} {self.name} {number}", table.folder)
        return line_of(OWN_LINE.read(own), None, 1.0)


@dataclass(frozen=True)
class Phase(Number):
    """A number of degrees that a section can turn by."""

    def _value(self, table: Table, found: Any) -> float:
        phase = super()._value(table, found)
        if min(abs(phase), 180 - abs(phase)) < 0.1:
            raise table.fail(
                self.name, f"{phase:g} is no phase of a section: not 0 nor half a turn"
            )
        return phase


def _q(name: str, says: str, default: float) -> Number:
    return Number(name, says, default=default, low=1.0, high=1e6)


SECTION_Q = Number(
    "section_q",
    "Q of pi and T sections, the larger one of both sides; where neither this nor a phase is "
    "given, values go where the band is best",
    low=0.0,
    above=True,
    high=1e3,
)
PHASE = Phase(
    "phase_deg",
    "or how far the load side lags: a pi's voltage, a T's current",
    unit="degrees, -180 to 180",
    low=-180.0,
    above=True,
    high=180.0,
)
MATCH = Section(
    "[match]",
    "Networks that match a device, of parts that can be bought and cut; several as `[[match]]`.",
    (
        Text("measurement", "name of the device", instead="the first"),
        Number(
            "frequency_mhz",
            "design frequency",
            unit="MHz",
            low=0.0,
            above=True,
            instead="middle of the band, or the answer's",
        ),
        Band("band_mhz", "where the SWR counts", instead="the frequency alone"),
        Number(
            "power_w",
            "power, for volts and amperes",
            unit="W",
            default=defaults.POWER_W,
            low=1e-6,
            high=1e6,
        ),
        Number(
            "target_ohm",
            "what the device is to become",
            unit="ohm",
            low=LEAST_OHM,
            high=MOST_OHM,
            instead="`reference_ohm`",
        ),
        Number(
            "target_swr",
            "the SWR to be reached",
            default=defaults.TARGET_SWR,
            low=1.0,
            above=True,
            high=100.0,
        ),
        Choice("series", "preferred values", among=E_SERIES, default=defaults.SERIES),
        _q("inductor_q", "Q of coils", defaults.INDUCTOR_Q),
        _q("capacitor_q", "Q of capacitors", defaults.CAPACITOR_Q),
        Number(
            "inductor_parallel_f",
            "a coil's own capacitance",
            unit="F",
            default=0.0,
            low=0.0,
            high=1e-6,
        ),
        Number(
            "capacitor_series_h",
            "inductance of a capacitor's leads",
            unit="H",
            default=0.0,
            low=0.0,
            high=1e-3,
        ),
        Number(
            "tolerance_percent",
            "how far coils and capacitors may be off",
            unit="%",
            default=defaults.TOLERANCE,
            low=0.0,
            high=0.5,
        ),
        Lines(
            "lines",
            "what stubs and sections are cut from",
            instead=f"{' and '.join(f'{z0:g}' for z0 in defaults.STOCK_OHM)} ohm with the other "
            f"figures of {defaults.STOCK_CABLE}",
        ),
        Words("topologies", "which are tried", among=TOPOLOGIES),
        SECTION_Q,
        PHASE,
        Place(
            "place",
            "where the network goes; metres count from the device on a line known by its figures",
            default="device",
        ),
        File(
            "built",
            "sweep after building the first network of the list, through the same path as the "
            "device: it tells which part is off",
        ),
    ),
)


@dataclass(frozen=True)
class MatchRequest:
    """One table ``[match]``."""

    place_in_record: str  # for errors
    measurement: str  # its name
    centre_hz: float  # nan for the frequency of the answer, until it is `settled`
    band_hz: tuple[float, float]  # the design frequency twice where it alone counts
    power_w: float
    target_ohm: float
    target_swr: float
    stock: Stock  # parts that exist
    tolerance: float  # of coils and capacitors [1]
    topologies: tuple[str, ...]
    place: str | float  # of `PLACES`, or metres from the device on the line between
    built: str | None  # file of the sweep after building
    section_q: float | None = None
    phase_deg: float | None = None

    def settled(self, answer_hz: float) -> "MatchRequest":
        """The request with the answer's frequency where it states none."""
        if not math.isnan(self.centre_hz):
            return self
        return replace(self, centre_hz=answer_hz, band_hz=(answer_hz, answer_hz))


def read_match(top: Table, reference_ohm: float, names: Sequence[str]) -> tuple[MatchRequest, ...]:
    """All match tables of a record, whose measurements have these names."""
    found = top.values.get(MATCH.name, [])
    tables = found if isinstance(found, list) else [found]
    if not all(isinstance(table, dict) for table in tables):
        raise top.fail(MATCH.name, f"expected a table headed {MATCH.header}")
    return tuple(
        _request(Table(table, f"{MATCH.header} {i}", top.folder), reference_ohm, names)
        for i, table in enumerate(tables, start=1)
    )


def _request(table: Table, reference_ohm: float, names: Sequence[str]) -> MatchRequest:
    found = MATCH.read(table)
    if not names:
        raise table.fail("measurement", "there is no [[measurement]] to match")
    measurement = found["measurement"] or names[0]
    centre, band = _band(found)
    _require_one_section(table, found["topologies"])
    return MatchRequest(
        table.place,
        one_among(table, "measurement", measurement, names),
        centre,
        band,
        found["power_w"],
        found["target_ohm"] or reference_ohm,
        found["target_swr"],
        Stock(
            series=found["series"],
            inductor_q=found["inductor_q"],
            capacitor_q=found["capacitor_q"],
            inductor_parallel_f=found["inductor_parallel_f"],
            capacitor_series_h=found["capacitor_series_h"],
            lines=found["lines"] or _usual_lines(),
        ),
        found["tolerance_percent"],
        found["topologies"],
        found["place"],
        found["built"],
        found["section_q"],
        found["phase_deg"],
    )


def _usual_lines() -> tuple[Line, ...]:
    """Lines of the usual impedances with the loss of the usual cable."""
    usual = CABLES[defaults.STOCK_CABLE].line(1.0)
    return tuple(replace(usual, z0=z0) for z0 in defaults.STOCK_OHM)


def _band(found: dict[str, Any]) -> tuple[float, tuple[float, float]]:
    """Design frequency and band [Hz]; each follows from the other where one is missing."""
    centre, band = found["frequency_mhz"], found["band_mhz"]
    if band:
        return centre or sum(band) / 2, band
    centre = centre or math.nan
    return centre, (centre, centre)


def _require_one_section(table: Table, topologies: Sequence[str]) -> None:
    """Refuse Q and phase of pi and T sections together, or where there are none."""
    asked = [key.name for key in (SECTION_Q, PHASE) if key.name in table]
    if len(asked) == 2:
        raise table.fail(asked[1], "a section has a chosen Q or a chosen phase: take out one")
    if asked and not any(TOPOLOGIES[name].chosen for name in topologies):
        raise table.fail(asked[0], "no topology here is a pi or T section, which it is for")
