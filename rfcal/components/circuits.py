"""Equivalent circuits of parts: what each reflects, where its fit begins, what is read off it.

Parameters are plain numbers about 1: impedances in parts of the reference impedance, and reactances
at the middle of the sweep, ``u`` being the frequency over it. Loss may come out below zero by
chance; a bound there would lean every value that depends on it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.reflection import Complex, Real

POWERS = (0.0, 4.0)
"""Of frequency, with which a core's loss goes at least and at most [1]."""
LOSS = 0.02
"""Of a line, where its fit begins [Np at mid-sweep]."""
Values = tuple[Any, ...]
"""Plain numbers of a circuit, each a number or an array that frequency broadcasts with."""
Formula = Callable[[Real, Values], Complex]
Start = Callable[[Real, Complex], Real]


@dataclass(frozen=True)
class Scale:
    """What one of a circuit's plain numbers is worth, and where its loss is told."""

    z_ref: float  # [ohm]
    middle: float  # [rad/s], where u is 1
    answer: float  # u of the frequency that the answer is quoted at


Inner = Callable[[Values, Scale], Real]


def over(value: Real) -> Real:
    """One over a value that is above zero, else infinite."""
    return np.where(value > 0, 1 / np.where(value > 0, value, 1), np.inf)


def resonance(squared: Real) -> Real:
    """Frequency [Hz] at which L times C resonates."""
    return over(2 * np.pi * np.sqrt(np.maximum(squared, 0)))


@dataclass(frozen=True)
class Wanted:
    """One figure of a part: what is nearly normal of it, and what is told of that."""

    unit: str
    inner: Inner
    outer: Callable[[Real], Real] = np.asarray  # only rises or only falls


@dataclass(frozen=True)
class Circuit:
    """One equivalent circuit."""

    parameters: tuple[str, ...]
    formula: Formula  # impedance, or admittance, in parts of the reference's
    start: Start  # by the admittance or impedance that was measured
    figures: Mapping[str, Wanted]  # the answer's three first
    holds: Callable[[Real, Values], Any]  # whether such numbers are what is called by its name
    admittance: bool = False  # whether `formula` gives one

    def __post_init__(self) -> None:
        object.__setattr__(self, "figures", MappingProxyType(self.figures))

    def reflection(self, u: Real, p: Real) -> Complex:
        """Its reflection [1], parameters along the last axis, which frequency replaces."""
        value = self.formula(u, tuple(np.moveaxis(np.asarray(p)[..., None], -2, 0)))
        found = (value - 1) / (value + 1)
        return -found if self.admittance else found

    def immittance(self, reflection: Complex) -> Complex:
        """What `formula` gives, of a reflection that was measured."""
        r = -reflection if self.admittance else reflection
        return (1 + r) / np.where(r == 1, 1e-12, 1 - r)


def _linear(value: Complex, *columns: NDArray) -> Real:
    """Real coefficients of columns that add up to an impedance, weighted as its reflection is."""
    weight = 2 / np.abs(value + 1) ** 2
    a = np.stack([np.broadcast_to(c, value.shape) * weight for c in columns], axis=-1)
    b = value * weight
    found, *_ = np.linalg.lstsq(np.concatenate([a.real, a.imag]), np.concatenate([b.real, b.imag]))
    return found


def _shunted(u: Real, z: Complex, b: Real) -> Complex:
    """Admittance of an impedance with a capacitor across it."""
    return 1j * b * u + 1 / z


def _coil_start(u: Real, y: Complex) -> Real:
    loss, b, t = _linear(y, 1 / u**2, 1j * u, -1j / u)
    x = 1 / t if t > 0 else 1.0
    return np.array([x, b, max(loss, 0.0) * x**2])


def _resistor_start(u: Real, y: Complex) -> Real:
    # y (r + j x u) = 1 + j b u (r + j x u), linear in 1 / r once divided by it
    g, b, tilt = _linear(y, np.ones_like(u), 1j * u, -1j * u * y)
    r = 1 / g if g != 0 else 1.0
    x = tilt * r
    # to second order the inductance and its negative, with as much more capacitance, are one
    return np.array([r, abs(x), b + (abs(x) - x) / r**2])


def _best(formula: Formula, u: Real, v: Complex, tried: Iterable[Real]) -> Real:
    """Of many starts that whose reflection is nearest to the measured one."""

    def miss(p: Real) -> float:
        guess = formula(u, tuple(p))
        return float(np.sum(np.abs((guess - v) / (guess + 1) / (v + 1)) ** 2))

    return min(tried, key=miss)


def _loss_of(formula: Formula) -> Inner:
    """One over Q of a circuit at the answer's frequency; the same of impedance and admittance."""

    def inner(p: Values, at: Scale) -> Real:
        value = np.asarray(formula(np.array(at.answer), p))
        size = np.abs(value.imag)
        return value.real / np.where(size > 0, size, 1e-12)

    return inner


def _series(u: Real, p: Values) -> Complex:
    r, x, s = p
    return r + 1j * (x * u - s / u)


def _antenna(u: Real, p: Values) -> Complex:
    return _series(u, p[:3]) + p[3] * u**2


def _coil(u: Real, p: Values) -> Complex:
    # a developed skin effect has as much reactance inside the wire as resistance
    x, b, r = p
    return _shunted(u, 1j * x * u + (1 + 1j) * r * np.sqrt(u), b)


def _cored(u: Real, p: Values) -> Complex:
    x, b, r, n = p
    return _shunted(u, 1j * x * u + r * u**n, b)


def _resistor(u: Real, p: Values) -> Complex:
    r, x, b = p
    return _shunted(u, r + 1j * x * u, b)


_H: dict[str, Callable[[int], Wanted]] = {
    "x": lambda i: Wanted("H", lambda p, at: p[i] * at.z_ref / at.middle),
    "1/x": lambda i: Wanted("H", lambda p, at: p[i] * at.middle / at.z_ref, over),
    "b": lambda i: Wanted("F", lambda p, at: p[i] / at.z_ref / at.middle),
    "1/b": lambda i: Wanted("F", lambda p, at: p[i] * at.z_ref * at.middle, over),
    "r": lambda i: Wanted("ohm", lambda p, at: p[i] * at.z_ref),
    "1/r": lambda i: Wanted("ohm", lambda p, at: p[i] / at.z_ref, over),
}


def _own(squared: Callable[[Values], Any]) -> Wanted:
    """Own resonance, where u squared times this is 1."""
    return Wanted("Hz", lambda p, at: squared(p) / at.middle**2, resonance)


def _resonator(loss: Callable[[Values], Any]) -> dict[str, Wanted]:
    """Resonance, Q and bandwidth by the loss at resonance, of what stores as u and as 1/u."""
    return {
        "resonance": _own(lambda p: p[1] / p[2]),
        "q": Wanted("", lambda p, at: loss(p) / np.sqrt(np.maximum(p[1] * p[2], 1e-300)), over),
        "bandwidth": Wanted("Hz", lambda p, at: loss(p) / p[1] * at.middle / (2 * np.pi)),
    }


def _wound(formula: Formula, resistance: Inner) -> dict[str, Wanted]:
    """What is read off a coil, by its loss resistance in parts of the reference."""
    return {
        "inductance": _H["x"](0),
        "q": Wanted("", _loss_of(formula), over),
        "self_resonance": _own(lambda p: p[0] * p[1]),
        "self_capacitance": _H["b"](1),
        "resistance": Wanted("ohm", lambda p, at: resistance(p, at) * at.z_ref),
    }


_RLC = {"resistance": _H["r"](0), "inductance": _H["x"](1), "capacitance": _H["1/b"](2)}
_LINE = {
    "z0": _H["r"](0),
    "delay": Wanted("s", lambda p, at: p[1] / at.middle),
    "loss": Wanted("dB", lambda p, at: p[2] * np.sqrt(at.answer) * 20 / np.log(10)),
    "resonance": Wanted(
        "Hz", lambda p, at: p[1] / at.middle * 2 / np.pi, lambda t: over(2 * np.pi * t)
    ),
}


def _radiated(p: Values) -> Any:
    """What an antenna radiates as at its resonance."""
    return p[3] * p[2] / p[1]


_ANTENNA = {
    **_resonator(lambda p: p[0] + _radiated(p)),
    **_RLC,
    "radiation_resistance": Wanted("ohm", lambda p, at: _radiated(p) * at.z_ref),
}


def _rlc_start(u: Real, z: Complex, *more: Real) -> Real:
    return _linear(z, np.ones_like(u), 1j * u, -1j / u, *more)


def _fed(u: Real, p: Values) -> Complex:
    return _shunted(u, _antenna(u, p[:4]), p[4])


def _fed_start(u: Real, y: Complex) -> Real:
    """The best of many capacitances across it, the antenna behind following from each."""
    tried = np.geomspace(0.003, 3, 25)
    each = (np.append(_rlc_start(u, 1 / (y - 1j * b * u), u**2), b) for b in tried)
    return _best(_fed, u, y, each)


def _is_coil(u: Real, p: Values) -> bool:
    """Stores more than it loses at the sweep's low end, below its own resonance."""
    x, b, r = p[:3]
    power = np.clip(p[3], *POWERS) if len(p) > 3 else 0.5
    return bool(x * u[0] > abs(r) * u[0] ** power) and not x * b * u[0] ** 2 > 1


def _resonates(u: Real, p: Values) -> bool:
    """Within the sweep, where ``u^2 p[1]`` is ``p[2]``."""
    return bool(p[1] > 0 and p[2] > 0 and u[0] ** 2 <= p[2] / p[1] <= u[-1] ** 2)


def _is_line(u: Real, p: Values) -> bool:
    """A quarter of a wave and more at the sweep's high end."""
    return bool(p[0] > 0 and p[1] * u[-1] > np.pi / 2)


def _line(*, open_end: bool) -> Circuit:
    """A line: a short end's impedance is its own times tanh, an open end's admittance likewise."""

    def formula(u: Real, p: Values) -> Complex:
        z0, delay, loss = p
        return np.tanh(loss * np.sqrt(u) + 1j * delay * u) * (1 / z0 if open_end else z0)

    def start(u: Real, v: Complex) -> Real:
        """The best of many delays, the line's impedance following from each."""
        tried = []
        for delay in np.geomspace(0.1, 12, 400) / np.median(u):
            (scale,) = np.clip(_linear(v, formula(u, (1.0, delay, LOSS))), 0.02, 50)
            tried.append(np.array([1 / scale if open_end else scale, delay, LOSS]))
        return _best(formula, u, v, tried)

    return Circuit(("impedance", "delay", "loss"), formula, start, _LINE, _is_line, open_end)


CIRCUITS: Mapping[str, Circuit] = {
    "capacitor": Circuit(
        ("ESR", "ESL", "1/C"),
        _series,
        _rlc_start,
        {
            "capacitance": _H["1/b"](2),
            "q": Wanted("", _loss_of(_series), over),
            "self_resonance": _own(lambda p: p[1] / p[2]),
            "esr": _H["r"](0),
            "esl": _H["x"](1),
        },
        lambda u, p: p[2] > 0 and not p[1] * u[-1] ** 2 > p[2] and p[2] / u[0] > abs(p[0]),
    ),
    "coil": Circuit(
        ("L", "self-capacitance", "skin resistance"),
        _coil,
        _coil_start,
        _wound(_coil, lambda p, at: p[2] * np.sqrt(at.answer)),
        _is_coil,
        admittance=True,
    ),
    "resistor": Circuit(
        ("R", "L", "C"),
        _resistor,
        _resistor_start,
        {"resistance": _H["r"](0), "inductance": _H["x"](1), "capacitance": _H["b"](2)},
        lambda u, p: p[0] > max(abs(p[1]) * u[0], 0.0) and abs(p[2]) * p[0] * u[0] < 1,
        admittance=True,
    ),
    "series resonator": Circuit(
        ("R", "L", "1/C"),
        _series,
        _rlc_start,
        {**_resonator(lambda p: p[0]), **_RLC},
        _resonates,
    ),
    "parallel resonator": Circuit(
        ("1/R", "C", "1/L"),
        _series,
        _rlc_start,
        {
            **_resonator(lambda p: p[0]),
            "resistance": _H["1/r"](0),
            "inductance": _H["1/x"](2),
            "capacitance": _H["b"](1),
        },
        _resonates,
        admittance=True,
    ),
    "cored coil": Circuit(
        ("L", "self-capacitance", "core loss", "its power of frequency"),
        _cored,
        lambda u, y: np.append(_coil_start(u, y), 1.0),
        {
            **_wound(_cored, lambda p, at: p[2] * at.answer ** p[3]),
            "loss_power": Wanted("", lambda p, at: p[3]),
        },
        _is_coil,
        admittance=True,
    ),
    "open line": _line(open_end=True),
    "shorted line": _line(open_end=False),
    "antenna": Circuit(
        ("loss resistance", "L", "1/C", "radiation resistance"),
        _antenna,
        lambda u, z: _rlc_start(u, z, u**2),
        _ANTENNA,
        _resonates,
    ),
    "shunted antenna": Circuit(
        ("loss resistance", "L", "1/C", "radiation resistance", "capacitance across its feed"),
        _fed,
        _fed_start,
        {**_ANTENNA, "feed_capacitance": _H["b"](4)},
        _resonates,
        admittance=True,
    ),
}
"""All circuits by name, the plainest first: of those that a sweep cannot tell apart it is named."""
