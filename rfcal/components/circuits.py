"""Equivalent circuits of parts: what each reflects, where its fit begins, what is read off it.

Parameters are plain numbers about 1: impedances in parts of the reference impedance, and reactances
at the middle of the sweep, ``u`` being the frequency over it. Loss may come out below zero by
chance; a bound there would lean every value that depends on it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.reflection import Complex, Real

POWERS = (0.0, 4.0)
"""Of frequency, with which a core's loss goes at least and at most [1]."""
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


def same(value: Real) -> Real:
    """The value itself."""
    return value


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
    outer: Callable[[Real], Real] = same  # only rises or only falls


@dataclass(frozen=True)
class Circuit:
    """One equivalent circuit."""

    parameters: tuple[str, ...]
    formula: Formula  # impedance, or admittance, in parts of the reference's
    start: Start  # by the admittance or impedance that was measured
    figures: Mapping[str, Wanted]
    holds: Callable[[Real, Values], Any]  # whether such numbers are what is called by its name
    admittance: bool = False  # whether `formula` gives one

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


def _line_start(open_end: bool) -> Start:
    """The best of many delays, the line's impedance following from each."""

    def start(u: Real, v: Complex) -> Real:
        weight = 2 / np.abs(v + 1) ** 2
        turns = np.geomspace(0.1, 12, 400)[:, None] / np.median(u)
        way = np.tanh(0.02 * np.sqrt(u) + 1j * turns * u)
        # of an open end v is an admittance, of a short one an impedance: both are scale times tanh
        scale = np.sum((np.conj(way) * v).real * weight, -1) / np.sum(np.abs(way) ** 2 * weight, -1)
        scale = np.clip(scale, 0.02, 50)[:, None]
        guess = scale * way
        miss = np.abs((guess - 1) / (guess + 1) - (v - 1) / (v + 1)) ** 2
        best = int(np.argmin(miss.sum(axis=-1)))
        value = float(scale[best, 0])
        return np.array([1 / value if open_end else value, float(turns[best, 0]), 0.02])

    return start


def _ratio(value: Complex) -> Real:
    """One over Q: resistance over the size of reactance."""
    size = np.abs(value.imag)
    return value.real / np.where(size > 0, size, 1e-12)


def _loss_of(formula: Formula) -> Inner:
    """One over Q of a circuit at the answer's frequency; the same of impedance and admittance."""

    def inner(p: Values, at: Scale) -> Real:
        return _ratio(np.asarray(formula(np.array(at.answer), p)))

    return inner


def _series(u: Real, p: Values) -> Complex:
    r, x, s = p
    return r + 1j * (x * u - s / u)


def _antenna(u: Real, p: Values) -> Complex:
    r, x, s, a = p
    return r + a * u**2 + 1j * (x * u - s / u)


def _parallel(u: Real, p: Values) -> Complex:
    g, b, t = p
    return g + 1j * (b * u - t / u)


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


def _open_line(u: Real, p: Values) -> Complex:
    # y = tanh(gamma l) / z0
    z0, delay, loss = p
    return np.tanh(loss * np.sqrt(u) + 1j * delay * u) / z0


def _short_line(u: Real, p: Values) -> Complex:
    # z = z0 tanh(gamma l)
    z0, delay, loss = p
    return np.tanh(loss * np.sqrt(u) + 1j * delay * u) * z0


def inside(u: Real, squared: Any) -> bool:
    """Whether what resonates where ``u^2 squared`` is 1 does so within the sweep."""
    return bool(squared > 0 and u[0] <= squared**-0.5 <= u[-1])


_H: dict[str, Callable[[int], Wanted]] = {
    "x": lambda i: Wanted("H", lambda p, at: p[i] * at.z_ref / at.middle),
    "1/x": lambda i: Wanted("H", lambda p, at: p[i] * at.middle / at.z_ref, over),
    "b": lambda i: Wanted("F", lambda p, at: p[i] / at.z_ref / at.middle),
    "1/b": lambda i: Wanted("F", lambda p, at: p[i] * at.z_ref * at.middle, over),
    "r": lambda i: Wanted("ohm", lambda p, at: p[i] * at.z_ref),
    "1/r": lambda i: Wanted("ohm", lambda p, at: p[i] / at.z_ref, over),
}


def _own(i: int, j: int, *, shared_ratio: bool) -> Wanted:
    """Own resonance by the product of two parameters, or by the first over the second."""

    def squared(p: Values, at: Scale) -> Real:
        return (p[i] / p[j] if shared_ratio else p[i] * p[j]) / at.middle**2

    return Wanted("Hz", squared, resonance)


def _resonator(loss: int, store: int, other: int) -> dict[str, Wanted]:
    """Resonance, Q and bandwidth of loss, what stores as u and what stores as 1/u."""
    return {
        "resonance": _own(store, other, shared_ratio=True),
        "q": Wanted(
            "", lambda p, at: p[loss] / np.sqrt(np.maximum(p[store] * p[other], 1e-300)), over
        ),
        "bandwidth": Wanted("Hz", lambda p, at: p[loss] / p[store] * at.middle / (2 * np.pi)),
    }


_COIL = {"inductance": _H["x"](0), "self_capacitance": _H["b"](1)}
_SERIES = {"resistance": _H["r"](0), "inductance": _H["x"](1), "capacitance": _H["1/b"](2)}
_ANTENNA_LOSS = Wanted(
    "", lambda p, at: (p[0] + p[3] * p[2] / p[1]) / np.sqrt(np.maximum(p[1] * p[2], 1e-300)), over
)
_LINE = {
    "z0": _H["r"](0),
    "delay": Wanted("s", lambda p, at: p[1] / at.middle),
    "loss": Wanted("dB", lambda p, at: p[2] * np.sqrt(at.answer) * 20 / np.log(10)),
    "resonance": Wanted(
        "Hz", lambda p, at: p[1] / at.middle * 2 / np.pi, lambda t: over(2 * np.pi * t)
    ),
}


def _rlc_start(u: Real, z: Complex) -> Real:
    return _linear(z, np.ones_like(u), 1j * u, -1j / u)


def _antenna_start(u: Real, z: Complex) -> Real:
    return _linear(z, np.ones_like(u), 1j * u, -1j / u, u**2)


def _cored_start(u: Real, y: Complex) -> Real:
    return np.append(_coil_start(u, y), 1.0)


def _is_coil(u: Real, p: Values) -> bool:
    """Stores more than it loses at the sweep's low end, below its own resonance."""
    x, b, r = p[:3]
    power = np.clip(p[3], *POWERS) if len(p) > 3 else 0.5
    return bool(x * u[0] > abs(r) * u[0] ** power) and not x * b * u[0] ** 2 > 1


CIRCUITS: Mapping[str, Circuit] = MappingProxyType(
    {
        "capacitor": Circuit(
            ("ESR", "ESL", "1/C"),
            _series,
            _rlc_start,
            {
                "capacitance": _H["1/b"](2),
                "esr": _H["r"](0),
                "esl": _H["x"](1),
                "q": Wanted("", _loss_of(_series), over),
                "self_resonance": _own(1, 2, shared_ratio=True),
            },
            holds=lambda u, p: (
                p[2] > 0 and not p[1] * u[-1] ** 2 > p[2] and p[2] / u[0] > abs(p[0])
            ),
        ),
        "coil": Circuit(
            ("L", "self-capacitance", "skin resistance"),
            _coil,
            _coil_start,
            {
                **_COIL,
                "resistance": Wanted("ohm", lambda p, at: p[2] * np.sqrt(at.answer) * at.z_ref),
                "q": Wanted("", _loss_of(_coil), over),
                "self_resonance": _own(0, 1, shared_ratio=False),
            },
            admittance=True,
            holds=_is_coil,
        ),
        "resistor": Circuit(
            ("R", "L", "C"),
            _resistor,
            _resistor_start,
            {
                "resistance": _H["r"](0),
                "inductance": _H["x"](1),
                "capacitance": _H["b"](2),
            },
            admittance=True,
            holds=lambda u, p: p[0] > max(abs(p[1]) * u[0], 0.0) and abs(p[2]) * p[0] * u[0] < 1,
        ),
        "series resonator": Circuit(
            ("R", "L", "1/C"),
            _series,
            _rlc_start,
            {**_resonator(0, 1, 2), **_SERIES},
            holds=lambda u, p: p[1] > 0 and p[2] > 0 and inside(u, p[1] / p[2]),
        ),
        "parallel resonator": Circuit(
            ("1/R", "C", "1/L"),
            _parallel,
            _rlc_start,
            {
                **_resonator(0, 1, 2),
                "resistance": _H["1/r"](0),
                "inductance": _H["1/x"](2),
                "capacitance": _H["b"](1),
            },
            admittance=True,
            holds=lambda u, p: p[1] > 0 and p[2] > 0 and inside(u, p[1] / p[2]),
        ),
        "cored coil": Circuit(
            ("L", "self-capacitance", "core loss", "its power of frequency"),
            _cored,
            _cored_start,
            {
                **_COIL,
                "resistance": Wanted("ohm", lambda p, at: p[2] * at.answer ** p[3] * at.z_ref),
                "q": Wanted("", _loss_of(_cored), over),
                "self_resonance": _own(0, 1, shared_ratio=False),
                "loss_power": Wanted("", lambda p, at: p[3]),
            },
            admittance=True,
            holds=_is_coil,
        ),
        "open line": Circuit(
            ("impedance", "delay", "loss"),
            _open_line,
            _line_start(True),
            _LINE,
            admittance=True,
            holds=lambda u, p: p[0] > 0 and p[1] * u[-1] > np.pi / 2,
        ),
        "shorted line": Circuit(
            ("impedance", "delay", "loss"),
            _short_line,
            _line_start(False),
            _LINE,
            holds=lambda u, p: p[0] > 0 and p[1] * u[-1] > np.pi / 2,
        ),
        "antenna": Circuit(
            ("loss resistance", "L", "1/C", "radiation resistance"),
            _antenna,
            _antenna_start,
            {
                "resonance": _own(1, 2, shared_ratio=True),
                "q": _ANTENNA_LOSS,
                "bandwidth": Wanted(
                    "Hz",
                    lambda p, at: (p[0] / p[1] + p[3] * p[2] / p[1] ** 2) * at.middle / (2 * np.pi),
                ),
                **_SERIES,
                "radiation_resistance": Wanted("ohm", lambda p, at: p[3] * p[2] / p[1] * at.z_ref),
            },
            holds=lambda u, p: p[1] > 0 and p[2] > 0 and inside(u, p[1] / p[2]),
        ),
    }
)
"""All circuits by name, the plainest first: of those that a sweep cannot tell apart it is named."""
