"""``[match]``: which networks a record asks for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rfcal.matching.parts import E_SERIES
from rfcal.matching.stock import Stock
from rfcal.matching.topologies import TOPOLOGIES
from rfcal.models.cables import CABLES
from rfcal.models.line import Line, loss_law
from rfcal.record.format.keys import Keys
from rfcal.record.format.path import loss_rows, velocity_factor


@dataclass(frozen=True)
class MatchRequest:
    """One table ``[match]``.

    Parameters
    ----------
    place_in_record : str
        Where it stands, for errors.
    measurement : str
        Name of the measurement.
    centre_hz : float
        Design frequency [Hz]; nan for that of the measurement's answer, until it is `settled`.
    band_hz : tuple of (float, float)
        Band [Hz]; the design frequency twice where it alone counts.
    power_w : float
        Power [W] at which volts and amperes are stated.
    target_ohm, target_swr : float
        What is wanted [ohm], [1].
    stock : Stock
        Parts that exist.
    tolerance : float
        Of coils and capacitors [1].
    topologies : tuple of str
        Which are tried.
    place : str or float
        ``"device"``, ``"calibration plane"``, or metres from the device on the line between.
    built : str, optional
        File of the sweep after building.
    section_q, phase_deg : float, optional
        Q of pi and T sections [1], or how far their load side lags [degrees].
    """

    place_in_record: str
    measurement: str
    centre_hz: float
    band_hz: tuple[float, float]
    power_w: float
    target_ohm: float
    target_swr: float
    stock: Stock
    tolerance: float
    topologies: tuple[str, ...]
    place: str | float
    built: str | None
    section_q: float | None = None
    phase_deg: float | None = None

    def settled(self, answer_hz: float) -> "MatchRequest":
        """The request with the answer's frequency where it states none.

        Parameters
        ----------
        answer_hz : float
            Where the measurement quotes its answer [Hz].

        Returns
        -------
        MatchRequest
            With design frequency and band.
        """
        if not math.isnan(self.centre_hz):
            return self
        return replace(self, centre_hz=answer_hz, band_hz=(answer_hz, answer_hz))


def read_match(top: Keys, reference_ohm: float, names: Sequence[str]) -> tuple:
    """All match tables of a record.

    Parameters
    ----------
    top : Keys
        The record's top level.
    reference_ohm : float
        Its reference impedance [ohm].
    names : sequence of str
        The measurements.

    Returns
    -------
    tuple of MatchRequest
        Empty where there is none.

    Raises
    ------
    RecordError
        Names the key at fault.
    """
    table = top.table.get("match", [])
    tables = table if isinstance(table, list) else [table]
    if not all(isinstance(t, dict) for t in tables):
        raise top.fail("match", "expected a table headed [match]")
    return tuple(
        _request(Keys(t, f"[match] {i}", top.folder), reference_ohm, names)
        for i, t in enumerate(tables, start=1)
    )


def _request(keys: Keys, reference_ohm: float, names: Sequence[str]) -> MatchRequest:
    keys.only(
        (
            *("measurement", "frequency_mhz", "band_mhz", "power_w", "target_ohm", "target_swr"),
            *(
                "series",
                "inductor_q",
                "inductor_parallel_f",
                "capacitor_q",
                "capacitor_series_h",
                "tolerance_percent",
                "topologies",
                "place",
            ),
            *("built", "lines", "section_q", "phase_deg"),
        )
    )
    centre, band = _band(keys)
    topologies = _topologies(keys)
    section_q, phase_deg = _chosen(keys, topologies)
    return MatchRequest(
        keys.place,
        keys.choice("measurement", names, names[0]),
        centre,
        band,
        keys.number("power_w", 1.0, low=1e-6, high=1e6),
        keys.number("target_ohm", reference_ohm, low=1e-3, high=1e6),
        keys.number("target_swr", 1.5, low=1.0, above=True, high=100.0),
        Stock(
            series=keys.choice("series", E_SERIES, "E24"),
            inductor_q=keys.number("inductor_q", 100.0, low=1.0, high=1e6),
            capacitor_q=keys.number("capacitor_q", 1000.0, low=1.0, high=1e6),
            inductor_parallel_f=keys.number("inductor_parallel_f", 0.0, low=0.0, high=1e-6),
            capacitor_series_h=keys.number("capacitor_series_h", 0.0, low=0.0, high=1e-3),
            lines=_lines(keys) if "lines" in keys.table else _usual_lines(),
        ),
        keys.number("tolerance_percent", 5.0, low=0.0, high=50.0) / 100,
        topologies,
        _place(keys),
        keys.path("built") if "built" in keys.table else None,
        section_q,
        phase_deg,
    )


def _usual_lines() -> tuple[Line, ...]:
    """A line of 50 ohm and one of 75 ohm with the loss of the usual 10 mm cable."""
    usual = CABLES["RG-213"].line(1.0)
    return usual, replace(usual, z0=75.0)


def _lines(keys: Keys) -> tuple[Line, ...]:
    """Lines to cut from, by type or by figures of the user's own."""
    value = keys.table["lines"]
    if not isinstance(value, list) or not value:
        raise keys.fail(
            "lines",
            'expected a list of types and of lines of your own, such as ["RG-213", {z0_ohm = 75, '
            "velocity_factor = 0.66, loss_db_per_100m = [[10.0, 2.0]]}]",
        )
    return tuple(_one_line(keys, one, i) for i, one in enumerate(value, start=1))


def _one_line(keys: Keys, one: object, number: int) -> Line:
    if isinstance(one, str):
        if one not in CABLES:
            raise keys.fail("lines", f"'{one}' is none of {', '.join(CABLES)}")
        return CABLES[one].line(1.0)
    if not isinstance(one, dict):
        raise keys.fail("lines", f"entry {number} is neither a type nor a line of your own")
    own = Keys(one, f"{keys.place} lines {number}", keys.folder)
    own.only(("z0_ohm", "velocity_factor", "loss_db_per_100m"))
    z0 = own.number("z0_ohm", low=1e-3, high=1e6)
    return Line(1.0, velocity_factor(own, None), z0, *loss_law(loss_rows(own)))


def _band(keys: Keys) -> tuple[float, tuple[float, float]]:
    """Design frequency and band [Hz]; each follows from the other where one is missing."""
    if "band_mhz" in keys.table:
        row = keys.table["band_mhz"]
        if not isinstance(row, list) or len(row) != 2:
            raise keys.fail("band_mhz", "expected two frequencies in MHz, such as [70.0, 70.5]")
        low, high = (keys.checked("band_mhz", v) * 1e6 for v in row)
        if not 0 < low < high:
            raise keys.fail("band_mhz", f"{low / 1e6:g} and {high / 1e6:g} do not ascend from 0")
        centre = keys.number("frequency_mhz", (low + high) / 2e6, low=0, above=True) * 1e6
        return centre, (low, high)
    if "frequency_mhz" not in keys.table:
        return math.nan, (math.nan, math.nan)
    centre = keys.number("frequency_mhz", low=0, above=True) * 1e6
    return centre, (centre, centre)


def _topologies(keys: Keys) -> tuple[str, ...]:
    value = keys.table.get("topologies", list(TOPOLOGIES))
    if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
        raise keys.fail("topologies", f"expected a list of {', '.join(TOPOLOGIES)}")
    for name in value:
        if name not in TOPOLOGIES:
            raise keys.fail("topologies", f"'{name}' is none of {', '.join(TOPOLOGIES)}")
    return tuple(value)


def _chosen(keys: Keys, topologies: Sequence[str]) -> tuple[float | None, float | None]:
    """Q or phase of pi and T sections, where one is asked for."""
    asked = [key for key in ("section_q", "phase_deg") if key in keys.table]
    if not asked:
        return None, None
    if len(asked) == 2:
        raise keys.fail("phase_deg", "a section has a chosen Q or a chosen phase: take out one")
    if not any(TOPOLOGIES[name].chosen for name in topologies):
        raise keys.fail(asked[0], "no topology here is a pi or T section, which it is for")
    if asked == ["section_q"]:
        return keys.number("section_q", low=0.0, above=True, high=1e3), None
    phase = keys.number("phase_deg", low=-180.0, above=True, high=180.0)
    if min(abs(phase), 180 - abs(phase)) < 0.1:
        raise keys.fail("phase_deg", f"{phase:g} is no phase of a section: not 0 nor half a turn")
    return None, phase


def _place(keys: Keys) -> str | float:
    value = keys.table.get("place", "device")
    if isinstance(value, str):
        return keys.choice("place", ("device", "calibration plane"), "device")
    if isinstance(value, list) and len(value) == 1:
        return keys.checked("place", value[0])
    raise keys.fail("place", "expected 'device', 'calibration plane' or [metres from the device]")
