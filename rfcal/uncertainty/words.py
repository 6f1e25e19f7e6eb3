"""Numbers in words: never more digits than the uncertainty supports."""

import math
from dataclasses import dataclass

import numpy as np

from rfcal.errors import ArgumentError
from rfcal.maths.arguments import number
from rfcal.uncertainty.derived import Figure, sidedness

SURE = 1e-9
"""An uncertainty of less than this part of a value is none [1]."""
FINEST = 1e-12
"""No end of an interval is told more finely, in the unit that is shown."""
RATIO = 1.0
"""Bound of a standing wave ratio [1]."""
LOPSIDED = 0.2
"""Share of an interval's larger side by which the smaller one may fall short of it for a ±."""
MOVED = 0.1
"""An end is rounded outward by this part of its distance from the value at most; near a bound of 0
by this part of itself, unless that is less than this part again of the former."""


WHOLE = 0.995
"""Share [1] from which two digits of a percentage are all of it, or more."""


def digits(half_width: float) -> int:
    """Decimals to print beside an uncertainty, so that it shows two digits of its own."""
    return 1 - math.floor(math.log10(float(f"{half_width:.1e}")))


def rounded(value: float, half_width: float) -> str:
    """A value to the digits that its uncertainty supports, such as ``"52.1"``."""
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
    """A value and its expanded uncertainty, such as ``"52.1 ± 0.8"``."""
    number(value, "the middle of an interval", infinite=True)
    number(half_width, "half of an interval", low=0, infinite=True)
    return value_words(value, value - half_width, value + half_width)


def value_words(
    value: float, low: float, high: float, unit: str = "", *, least: float = -math.inf
) -> str:
    """A value with its 95 % interval: ± where that is fair, else both ends, or the only one.

    Such as ``"52.1 ± 0.8"``, ``"5.0 (0.6 to 10.2)"``, ``"from 600 to 9000"`` of an infinite value,
    or ``"above 3000"``, ends rounded outward. No ± reaches the figure's lower bound `least`, and a
    standing wave ratio, the one figure that cannot be below 1, has none.
    """
    if least == RATIO and math.isinf(low):
        return "has no value: all is reflected, or more"
    fair = -1.0 if least == RATIO else LOPSIDED
    scale, unit = _prefixed(value, low, high, unit)
    value, low, high, least = value * scale, low * scale, high * scale, least * scale
    if low < least:  # of what reads as active: it has no such bound
        least = -math.inf
    side = "" if low == high < math.inf else sidedness(low, high, least)
    if side:
        return side if side == "unknown" else f"{side} {_one_end(side, low, high, least)}{unit}"
    larger, smaller = max(high - value, value - low), min(high - value, value - low)
    if max(abs(value), larger) <= FINEST:
        return f"0{unit}"
    if math.isfinite(value) and larger <= SURE * abs(value):
        return f"{rounded(value, 0.0)}{unit}"
    if not math.isfinite(value) or smaller < (1 - fair) * larger:
        return f"{_both_ends(value, low, high, least)}{unit}"
    places = digits(larger)
    if round(value, places) - round(larger, places) <= least < low:
        return f"{_both_ends(value, low, high, least)}{unit}"
    return f"{rounded(value, larger)} ± {rounded(larger, larger)}{unit}"


@dataclass(frozen=True)
class Value:
    """A number with its 95 % interval; printed, it has the digits that the interval allows.

    Parameters
    ----------
    value : float
        Best estimate.
    low, high : float
        Ends of the interval; infinite where nothing bounds it.
    unit : str
        Unit of all three, empty for a plain number.
    least : float
        What a passive device cannot be below, in the same unit.

    Examples
    --------
    >>> print(Value(52.134, 51.71, 52.56, "ohm"))
    52.13 ± 0.43 ohm
    """

    value: float
    low: float
    high: float
    unit: str = ""
    least: float = -math.inf

    def __post_init__(self) -> None:
        for name in ("value", "low", "high", "least"):
            if not isinstance(value := getattr(self, name), float):  # nan is none that is known
                number(value, f"the {name} of a Value", infinite=True)
        if self.low > self.high:
            raise ArgumentError(f"an interval from {self.low:g} to {self.high:g} has no inside")

    def __str__(self) -> str:
        return value_words(self.value, self.low, self.high, self.unit, least=self.least)


@dataclass(frozen=True)
class Answer:
    """What a device is at one frequency.

    Parameters
    ----------
    frequency : float
        Frequency [Hz].
    resistance, reactance : Value
        R and X [ohm], each with an interval of its own.
    swr : Value
        Standing wave ratio [1] in the reference impedance.

    Examples
    --------
    >>> from rfcal import Value
    >>> r, x = Value(52.1, 51.7, 52.5, "ohm"), Value(-3.4, -3.7, -3.1, "ohm")
    >>> print(Answer(70.2e6, r, x, Value(1.0834, 1.0761, 1.0908, least=1.0)))
    R 52.10 ± 0.40 ohm, X -3.40 ± 0.30 ohm, SWR 1.0834 (1.0761 to 1.0908) at 70.2 MHz
    """

    frequency: float
    resistance: Value
    reactance: Value
    swr: Value

    def __str__(self) -> str:
        swr = f"SWR {self.swr} at {mhz(self.frequency)}"
        return f"R {self.resistance}, X {self.reactance}, {swr}"


def value_at(figure: Figure, at: int) -> Value:
    """A figure read off the reflection, at one of its frequencies."""
    value, low, high = (float(v[at]) for v in (figure.value, figure.low, figure.high))
    return Value(value, low, high, figure.unit, figure.least)


def figure_words(figure: Figure, at: int) -> str:
    """The same in words."""
    return str(value_at(figure, at))


def _one_end(side: str, low: float, high: float, least: float) -> str:
    """The end that is known, to two digits of its distance from the figure's bound, or from 0."""
    end = low if side == "above" else high
    far = abs(end - (least if math.isfinite(least) else 0)) or 1.0
    return _outward(end, side == "below", 1 - math.floor(math.log10(far)))


def _both_ends(value: float, low: float, high: float, least: float) -> str:
    """A value, unless it is infinite, and both ends of its interval."""
    half = max((high - low) / 2, SURE * max(abs(low), abs(high)), FINEST)
    said = []
    for end in (low, high):
        side = abs(end - value) if math.isfinite(value) else half
        room = MOVED * (side if math.isinf(least) else max(min(side, abs(end)), MOVED * side))
        said.append(_outward(end, end == high, digits(half), room, least))
    if not math.isfinite(value):
        return f"from {said[0]} to {said[1]}"
    known = rounded(value, half)
    if not float(said[0]) <= float(known) <= float(said[1]):
        known = rounded(value, max(min(value - low, high - value), half / 1000))
    return f"{known} ({said[0]} to {said[1]})"


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
    """An impedance [ohm] in the trade's notation, such as ``"52.1 - j3.4 ohm"``."""
    if not np.isfinite(impedance):
        return "infinite, as an open"
    if np.any(np.isinf(half_width)):
        return "unknown: the reading fits an open as well"
    r = rounded(impedance.real, half_width[0])
    x = rounded(impedance.imag, half_width[1])
    sign = "-" if x.startswith("-") else "+"
    return f"{r} {sign} j{x.removeprefix('-')} ohm"


def share_words(share: float, standard_uncertainty: float) -> str:
    """A share [1] that was counted in draws, in percent, with what the count leaves open.

    Where all or none of n draws count, their uncertainty is 1/n and the 95 % limit three times that
    (source: -ln 0.05, of a binomial count of none).
    """
    half = standard_uncertainty * (1.96 if 0 < share < 1 else 3.0)
    if half < 0.005:
        return f"{share:.0%}"
    if round(share, 2) in (0, 1):  # a ± would reach beyond all or none
        low, high = math.floor(100 * (share - half)), math.ceil(100 * (share + half))
        return f"above {low}%" if share > 0.5 else f"below {high}%"
    return f"{share:.0%} ± {math.ceil(100 * half)}%"


def mhz(frequency_hz: float) -> str:
    """A frequency [Hz] in words, such as ``"70.2 MHz"``."""
    return f"{frequency_hz / 1e6:.10g} MHz"


def about(value: float) -> str:
    """A number of two digits, without an exponent."""
    return f"{float(f'{value:.2g}'):g}"
