"""What is told of a device at one frequency: numbers with the digits that they support."""

import math
from dataclasses import dataclass

from rfcal.uncertainty.words import mhz, swr_interval, value_words


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
    >>> r, x = Value(52.1, 51.7, 52.5, "ohm"), Value(-3.4, -3.7, -3.1, "ohm")
    >>> print(Answer(70.2e6, r, x, Value(1.0834, 1.0761, 1.0908)))
    R 52.10 ± 0.40 ohm, X -3.40 ± 0.30 ohm, SWR 1.0834 (1.0761 to 1.0908) at 70.2 MHz
    """

    frequency: float
    resistance: Value
    reactance: Value
    swr: Value

    def __str__(self) -> str:
        ratio = swr_interval(self.swr.value, self.swr.low, self.swr.high)
        return f"R {self.resistance}, X {self.reactance}, SWR {ratio} at {mhz(self.frequency)}"
