"""Numbers in words: never more digits than the uncertainty supports."""

import math

import numpy as np

from rfcal.measurement import model
from rfcal.record.format.schema import Artefact
from rfcal.record.results import Check, Device
from rfcal.uncertainty import coverage
from rfcal.uncertainty.derived import Figure, sidedness


def digits(half_width: float) -> int:
    """Decimals to print beside an uncertainty, so that it shows two digits of its own.

    Parameters
    ----------
    half_width : float
        Uncertainty, above zero and finite.

    Returns
    -------
    int
        Decimals; negative for tens and hundreds.
    """
    return 1 - math.floor(math.log10(float(f"{half_width:.1e}")))


SURE = 1e-9
"""An uncertainty of less than this part of a value is none [1]."""


def rounded(value: float, half_width: float) -> str:
    """A value to the digits that its uncertainty supports.

    Parameters
    ----------
    value : float
        The value.
    half_width : float
        Its uncertainty in the same unit.

    Returns
    -------
    str
        Such as ``"52.1"``; six digits where there is no uncertainty, ``"unknown"`` where it has
        no bound.
    """
    if not math.isfinite(value):
        return "infinite"
    if not math.isfinite(half_width):
        return "unknown"
    if half_width <= SURE * abs(value) or half_width <= 0:
        return f"{value + 0.0:.6g}"
    places = digits(half_width)
    # adding zero takes the sign off a rounded -0
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}"


def plus_minus(value: float, half_width: float) -> str:
    """A value and its expanded uncertainty.

    Parameters
    ----------
    value : float
        The value.
    half_width : float
        Its expanded uncertainty in the same unit.

    Returns
    -------
    str
        Such as ``"52.1 ± 0.8"``.
    """
    if math.isinf(half_width):
        return "unknown"
    if half_width <= SURE * abs(value):
        return rounded(value, 0.0)
    return f"{rounded(value, half_width)} ± {rounded(half_width, half_width)}"


LOPSIDED = 0.2
"""Share of an interval's larger side by which the smaller one may fall short of it for a ±."""

MOVED = 0.1
"""An end is rounded outward by this part of its distance from the value at most; near a bound of 0
by this part of itself, unless that is less than this part again of the former."""


def figure_words(figure: Figure, at: int) -> str:
    """A figure read off the reflection, with its interval.

    Parameters
    ----------
    figure : Figure
        The figure.
    at : int
        Index of the frequency.

    Returns
    -------
    str
        As from `value_words`.
    """
    value, low, high = (float(v[at]) for v in (figure.value, figure.low, figure.high))
    return value_words(value, low, high, figure.unit, least=figure.least)


def value_words(
    value: float,
    low: float,
    high: float,
    unit: str = "",
    *,
    least: float = -math.inf,
    fair: float = LOPSIDED,
) -> str:
    """A value with its interval: ± where that is fair, else both ends, or the only one.

    Parameters
    ----------
    value, low, high : float
        The value and the ends of its 95 % interval, in one unit; an end may be infinite.
    unit : str
        Unit to put behind, with a prefix where one is usual.
    least : float
        Lower bound of the figure, in the same unit: no ± reaches it, and an interval that begins
        there is one-sided.
    fair : float
        What may be lopsided for a ±; -1 for none.

    Returns
    -------
    str
        Such as ``"52.1 ± 0.8"``, ``"5.0 (0.6 to 10.2)"``, ``"0.1 (one-sided: below 0.5)"`` or
        ``"one-sided: above 3000"``. Ends are rounded outward.
    """
    scale, unit = _prefixed(value, low, high, unit)
    value, low, high, least = value * scale, low * scale, high * scale, least * scale
    side = sidedness(low, high, least)
    if side:
        return "unknown" if side == "unknown" else f"{_one_sided(side, value, low, high)}{unit}"
    larger, smaller = max(high - value, value - low), min(high - value, value - low)
    if math.isfinite(value) and larger <= SURE * abs(value):
        return f"{rounded(value, 0.0)}{unit}"
    if not math.isfinite(value) or smaller < (1 - fair) * larger:
        return f"{_both_ends(value, low, high, least)}{unit}"
    places = digits(larger)
    if round(value, places) - round(larger, places) <= least < low:
        return f"{_both_ends(value, low, high, least)}{unit}"
    return f"{plus_minus(value, larger)}{unit}"


def _one_sided(side: str, value: float, low: float, high: float) -> str:
    """The end that is known, and the value where the interval has a width."""
    end = low if side == "above" else high
    if math.isinf(low) or math.isinf(high):
        said = _outward(end, side == "below", 2 - math.floor(math.log10(abs(end) or 1.0)))
        return f"one-sided: {side} {said}"
    half = max((high - low) / 2, SURE * abs(end), 1e-300)
    said = f"one-sided: {side} {_outward(end, side == 'below', digits(half))}"
    return f"{rounded(value, half)} ({said})" if low <= value <= high else said


def _both_ends(value: float, low: float, high: float, least: float) -> str:
    """A value, unless it is infinite, and both ends of its interval."""
    half = max((high - low) / 2, SURE * max(abs(low), abs(high)), 1e-300)
    said = []
    for end in (low, high):
        side = abs(end - value) if math.isfinite(value) else half
        room = MOVED * (side if math.isinf(least) else max(min(side, abs(end)), MOVED * side))
        said.append(_outward(end, end == high, digits(half), room, least))
    known = rounded(value, half) if math.isfinite(value) else ""
    if known and not float(said[0]) <= float(known) <= float(said[1]):
        known = rounded(value, max(min(value - low, high - value), half / 1000))
    return f"{known} ({said[0]} to {said[1]})".lstrip()


def _outward(
    end: float, up: bool, places: int, room: float = math.inf, least: float = -math.inf
) -> str:
    """An end of an interval, rounded so that nothing is cut off, by no more than the room."""
    for more in range(places, places + 4):
        # the slack is for ends that are round numbers already
        step, slack = 10.0**-more, -1e-6 if up else 1e-6
        found = max((math.ceil if up else math.floor)(end / step + slack) * step, least)
        if abs(found - end) <= room:
            break
    return f"{found + 0.0:.{max(more, 0)}f}"


def _prefixed(value: float, low: float, high: float, unit: str) -> tuple[float, str]:
    """Factor and unit with a prefix, so that henry and farad are read in nano and pico."""
    if unit not in ("H", "F"):
        return 1.0, f" {unit}" if unit else ""
    sizes = [abs(v) for v in (value, low, high) if math.isfinite(v) and v]
    power = min(max(math.floor(math.log10(max(sizes, default=1.0)) / 3), -5), 0)
    return 1000.0**-power, f" {('', 'm', 'µ', 'n', 'p', 'f')[-power]}{unit}"


def complex_ohm(impedance: complex, half_width: np.ndarray) -> str:
    """An impedance in the trade's notation.

    Parameters
    ----------
    impedance : complex
        Impedance [ohm].
    half_width : ndarray, shape (2,)
        Expanded uncertainty of R and X [ohm].

    Returns
    -------
    str
        Such as ``"52.1 - j3.4 ohm"``.
    """
    if not np.isfinite(impedance):
        return "infinite, as an open"
    if np.any(np.isinf(half_width)):
        return "unknown: the reading fits an open as well"
    r = rounded(impedance.real, half_width[0])
    x = rounded(impedance.imag, half_width[1])
    sign = "-" if x.startswith("-") else "+"
    return f"{r} {sign} j{x.removeprefix('-')} ohm"


def mhz(frequency_hz: float) -> str:
    """A frequency in MHz.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].

    Returns
    -------
    str
        Such as ``"70.2 MHz"``.
    """
    return f"{frequency_hz / 1e6:.10g} MHz"


def answer(device: Device) -> dict[str, str]:
    """The answer at the frequency asked for.

    Parameters
    ----------
    device : Device
        A corrected measurement.

    Returns
    -------
    dict of str to str
        ``name``, ``at``, ``impedance``, ``r``, ``x``, ``swr``, ``raw``, ``path`` (empty where there
        is none) and ``doubt`` in words.
    """
    at = device.answer
    z, ends = device.impedance, device.interval[at]
    half = (ends[:, 1] - ends[:, 0]) / 2
    swr = device.figures["swr"]
    raw = device.raw.quantity(device.z_ref).value[at]
    raw_ohm = (1 + raw) / (1 - raw) * device.z_ref if raw != 1 else complex(math.inf)
    shares = coverage.budget(z)
    top = [max(shares, key=lambda s: shares[s][at, axis]) for axis in (0, 1)] if shares else []
    return {
        "name": device.name,
        "at": mhz(device.frequency[at]),
        "impedance": complex_ohm(z.value[at], half),
        "r": value_words(z.value[at].real, *ends[0], least=0.0),
        "x": value_words(z.value[at].imag, *ends[1]),
        "swr": swr_words(*(float(v[at]) for v in (swr.value, swr.low, swr.high))),
        "raw": complex_ohm(raw_ohm, _raw_half_width(device, raw_ohm)),
        "path": _path_words(device),
        "doubt": "; ".join(
            f"{part}: {source} ({shares[source][at, axis]:.0%})"
            if shares[source][at, axis] > 0
            else f"{part}: none is stated"
            for axis, (part, source) in enumerate(zip("RX", top, strict=False))
        ),
    }


def _raw_half_width(device: Device, raw_ohm: complex) -> np.ndarray:
    """Ten times the size of the first digit of R and X [ohm] that the analyzer does not know."""
    reading = model.impedance(device.inputs.reading, device.z_ref)
    deviation = coverage.standard_uncertainty(reading.covariance())[device.answer]
    least = abs(raw_ohm) / 1000 if np.isfinite(raw_ohm) else 0.1
    return 10.0 ** (np.ceil(np.log10(np.maximum(coverage.K_AXIS * deviation, least))) + 1)


def _path_words(device: Device) -> str:
    """What the path that was removed does to power, or nothing."""
    if device.path_loss is None:
        return ""
    loss = float(device.path_loss.loss_db[device.answer])
    half = float(device.path_loss.expanded_uncertainty_db[device.answer])
    if not (math.isfinite(loss) and math.isfinite(half)):
        return "the path's loss cannot be told"
    if loss < half:
        return f"the path loses less than {loss + half:.1g} dB"
    return (
        f"the path loses {plus_minus(loss, half)} dB: {10 ** (-loss / 10):.0%} of the power arrives"
    )


def swr_words(value: float, low: float, high: float) -> str:
    """A standing wave ratio and its interval.

    Parameters
    ----------
    value, low, high : float
        The ratio [1] and the interval's ends; infinite where all is reflected.

    Returns
    -------
    str
        Such as ``"1.09 (1.05 to 1.13)"``, or ``"one-sided: above 40"``.
    """
    if not math.isfinite(low):
        return "has no value: all is reflected, or more"
    return value_words(value, low, high, least=1.0, fair=-1.0)


def definition(item: Artefact) -> str:
    """What a standard or check artefact is said to be.

    Parameters
    ----------
    item : Artefact
        As the record describes it.

    Returns
    -------
    str
        Kind and every value that differs from the ideal.
    """
    if item.model is None:
        return f"known, from {item.definition}"
    model = item.model
    said = [
        f"{model.resistance:g} ohm" if model.kind == "load" else "",
        _coefficients(model.inductance, "H"),
        _coefficients(model.capacitance, "F"),
        f"offset {model.offset_delay * 1e12:g} ps" if model.offset_delay else "",
        f"{model.offset_loss / 1e9:g} Gohm/s" if model.offset_loss else "",
        f"{model.offset_z0:g} ohm line" if model.offset_z0 != 50 else "",
    ]
    return ", ".join([model.kind, *filter(None, said)])


def _coefficients(values: tuple[float, ...], unit: str) -> str:
    """A constant in engineering notation, and a word where it changes with frequency."""
    from matplotlib.ticker import EngFormatter

    if not any(values):
        return ""
    return EngFormatter(unit)(values[0]) + (" (polynomial)" if any(values[1:]) else "")


def check_line(check: Check) -> str:
    """One sentence about a check artefact.

    Parameters
    ----------
    check : Check
        The check.

    Returns
    -------
    str
        Says whether it agrees, and how far off it is.
    """
    off = np.abs(check.measured.value - check.expected.value)
    verdict = "agrees" if check.agrees else "DOES NOT AGREE"
    return (
        f"check '{check.name}' {verdict}: off by up to {off.max():.2g} of reflection, "
        f"inside the 95 % region at {check.inside.mean():.0%} of its points"
    )
