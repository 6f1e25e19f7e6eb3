"""``[match]``: which networks a record asks for."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.parts import SERIES
from rfcal.record.keys import Keys
from rfcal.tasks.matching.ranking import TOPOLOGIES
from rfcal.tasks.matching.stock import Stock


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
        Design frequency [Hz].
    band_hz : tuple of (float, float)
        Band [Hz].
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


def read_match(top: Keys, reference_ohm: float, names: Mapping[str, float | None]) -> tuple:
    """All match tables of a record.

    Parameters
    ----------
    top : Keys
        The record's top level.
    reference_ohm : float
        Its reference impedance [ohm].
    names : mapping of str to float
        Measurements, and where each quotes its answer [Hz] or None.

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


def _request(keys: Keys, reference_ohm: float, names: Mapping[str, float | None]) -> MatchRequest:
    keys.only(
        (
            *("measurement", "frequency_mhz", "band_mhz", "power_w", "target_ohm", "target_swr"),
            *("series", "inductor_q", "capacitor_q", "tolerance_percent", "topologies", "place"),
            "built",
        )
    )
    name = keys.choice("measurement", names, next(iter(names)))
    centre, band = _band(keys, names[name])
    return MatchRequest(
        keys.place,
        name,
        centre,
        band,
        keys.number("power_w", 1.0, low=1e-6, high=1e6),
        keys.number("target_ohm", reference_ohm, low=1e-3, high=1e6),
        keys.number("target_swr", 1.5, low=1.0, above=True, high=100.0),
        Stock(
            series=keys.choice("series", SERIES, "E24"),
            inductor_q=keys.number("inductor_q", 100.0, low=1.0, high=1e6),
            capacitor_q=keys.number("capacitor_q", 1000.0, low=1.0, high=1e6),
            lines=_usual_lines(),
        ),
        keys.number("tolerance_percent", 5.0, low=0.0, high=50.0) / 100,
        _topologies(keys),
        _place(keys),
        keys.path("built") if "built" in keys.table else None,
    )


def _usual_lines() -> tuple[Line, ...]:
    """A line of 50 ohm and one of 75 ohm with the loss of the usual 10 mm cable."""
    usual = CABLES["RG-213"].line(1.0)
    return usual, replace(usual, z0=75.0)


def _band(keys: Keys, answer_hz: float | None) -> tuple[float, tuple[float, float]]:
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
    if "frequency_mhz" not in keys.table and answer_hz is None:
        raise keys.fail("frequency_mhz", "say at which frequency, or in which band_mhz")
    default = None if answer_hz is None else answer_hz / 1e6
    centre = keys.number("frequency_mhz", default, low=0, above=True) * 1e6
    return centre, (centre, centre)


def _topologies(keys: Keys) -> tuple[str, ...]:
    value = keys.table.get("topologies", list(TOPOLOGIES))
    if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
        raise keys.fail("topologies", f"expected a list of {', '.join(TOPOLOGIES)}")
    for name in value:
        if name not in TOPOLOGIES:
            raise keys.fail("topologies", f"'{name}' is none of {', '.join(TOPOLOGIES)}")
    return tuple(value)


def _place(keys: Keys) -> str | float:
    value = keys.table.get("place", "device")
    if isinstance(value, str):
        return keys.choice("place", ("device", "calibration plane"), "device")
    if isinstance(value, list) and len(value) == 1:
        return keys.checked("place", value[0])
    raise keys.fail("place", "expected 'device', 'calibration plane' or [metres from the device]")
