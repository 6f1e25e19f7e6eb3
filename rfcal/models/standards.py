"""Calibration standards and check artefacts: what reflects how much, and how surely.

A standard is a termination behind an offset line. The polynomial model (open capacitance
C0..C3, short inductance L0..L3, offset delay, loss quoted at 1 GHz and following the square
root of frequency, offset impedance) is the usual one of coaxial calibration kits, in its
first-order low-loss form. An artefact whose reflection was measured elsewhere is `Tabulated`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.arguments import (
    LEAST_OHM,
    MEGAHERTZ_HZ,
    MOST_OHM,
    choice,
    deviations,
    drawn,
    frequencies,
    frozen,
    reference,
)
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, renormalise
from rfcal.models.interpolation import between_points, same_grid
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

StandardKind = Literal["short", "open", "load"]
OFFSET = ("offset_delay", "offset_loss", "offset_z0")
KINDS: Mapping[str, tuple[str, ...]] = {
    "short": ("inductance", *OFFSET),
    "open": ("capacitance", *OFFSET),
    "load": ("resistance", "inductance", "capacitance", *OFFSET),
    "known": ("definition",),
}
"""Kinds of standard, and what may be said of each: figures of `Standard`, or its own sweep."""
MOST_DELAY_S = 1e-6
"""More than any offset line of a standard [s]."""
LEAST_LOSS = 1e6
"""Less than any loss of an offset line that is not zero [ohm/s]."""
_MOST = {"inductance": 1e-3, "capacitance": 1e-6, "resistance": 1e6, "offset_delay": MOST_DELAY_S}
STANDARD_UNCERTAIN = {
    kind: {"reflection": 1.0, **{k.removeprefix("offset_"): _MOST[k] for k in _MOST if k in said}}
    for kind, said in KINDS.items()
}
"""What may be uncertain of each kind of standard, and more than its standard uncertainty is
[1, ohm, H, F, s]."""

STRAIGHT = 0.01
"""Change of a reflection by one standard deviation below which its curve, of half its square, is
none [1]."""
MOST_REFLECTION = 1.5
"""More than any standard reflects, with all that may be wrong with its own measurement [1]."""


def _polynomial(coefficients: Any, frequency: Real) -> Real:
    """Sum of ``c_k f^k``, where each coefficient may lead with an axis of draws."""
    terms = (np.asarray(c) * frequency**k for k, c in enumerate(coefficients))
    return sum(terms, np.zeros(1))


class Reflector:
    """What a type checker knows of a mapping from standards of both kinds."""


@dataclass(frozen=True, eq=False)
class Standard(Reflector):
    """An open, short or load behind an offset line.

    Parameters
    ----------
    kind : str
        ``"open"``, ``"short"`` or ``"load"``.
    resistance : float
        Resistance of a load [ohm], 50 where it is not stated; nan of others, which have none. Like
        every number here it may be an array, shape (N, 1), of draws; results then have shape
        (N, F).
    inductance : float or sequence of up to four float
        Series inductance of a short or load: L0 [H], L1 [H/Hz], L2 [H/Hz^2], L3 [H/Hz^3].
    capacitance : float or sequence of up to four float
        Shunt capacitance of an open or load: C0 [F], C1 [F/Hz], C2 [F/Hz^2], C3 [F/Hz^3].
    offset_delay : float
        One-way delay of the offset line [s].
    offset_loss : float
        Loss of the offset line at 1 GHz, per delay [ohm/s].
    offset_z0 : float
        Impedance of the offset line without loss [ohm].
    uncertainty : mapping of str to float
        Standard uncertainties: ``reflection`` of real and imaginary part [1], ``resistance``
        [ohm], ``inductance`` [H], ``capacitance`` [F], ``delay`` [s]. What is not stated has the
        default of its kind and build, unless ``reflection`` is stated, which then is all.
    name : str
        Name in the budget; the kind by default.
    build : str
        ``"machined"``, ``"connector"`` (in a plug, by hand) or ``"leaded"`` (on wires): which
        default uncertainties stand in. It changes no value.

    Examples
    --------
    >>> load = Standard("load", resistance=49.9, uncertainty={"resistance": 0.15})
    >>> print(load.reflection([1e6, 100e6]).round(4))
    [-0.001+0.j -0.001+0.j]
    >>> [effect.source for effect in load.quantity([1e6], z_ref=50.0).effects]
    ['load: resistance']
    >>> load.off("resistance", 0.15).resistance
    50.05
    """

    kind: StandardKind
    resistance: float = None  # type: ignore[assignment]  # of a load the usual one
    inductance: float | Sequence[float] = (0.0,)  # kept as a tuple, and so is the next
    capacitance: float | Sequence[float] = (0.0,)
    offset_delay: float = 0.0
    offset_loss: float = 0.0
    offset_z0: float = defaults.LOAD_OHM
    uncertainty: Mapping[str, float] = field(default_factory=dict)
    name: str = ""
    build: str = defaults.BUILD

    def __post_init__(self) -> None:
        choice(self.kind, "the kind of a standard", (k for k in KINDS if k != "known"))
        choice(self.build, "how a standard is built", defaults.BUILT)
        if self.resistance is None:
            usual = defaults.LOAD_OHM if self.kind == "load" else np.nan
            object.__setattr__(self, "resistance", usual)
        elif self.kind != "load" and self.resistance is not np.nan:
            raise ArgumentError(f"a resistance of {self.resistance} has no meaning for {self.kind}")
        values: dict[str, Any] = {
            name: drawn(getattr(self, name), f"the {what} of the {self.kind}", **limits)
            for name, what, limits in _LIMITS
            if name != "resistance" or self.kind == "load"
        }
        if np.any((values["offset_loss"] > 0) & (values["offset_loss"] < LEAST_LOSS)):
            raise ArgumentError(
                f"the offset loss of the {self.kind} is {self.offset_loss} ohm/s, which is none: "
                "those of kits are some 1e9, stated in Gohm/s"
            )
        values |= {name: self._checked(name) for name in ("inductance", "capacitance")}
        values["uncertainty"] = deviations(
            self.uncertainty, f"a standard of kind '{self.kind}'", STANDARD_UNCERTAIN[self.kind]
        )
        if not isinstance(self.name, str) or not self.name.isprintable():
            raise ArgumentError(f"the name of a standard is a line of text, found {self.name!r}")
        values["name"] = self.name or self.kind
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def _checked(self, name: str) -> tuple[Any, ...]:
        given = getattr(self, name)
        # draws have an axis more than a row of numbers
        several = isinstance(given, tuple | list) or np.ndim(given) == 1
        row = tuple(given) if several else (given,)
        if not 1 <= len(row) <= 4:
            raise ArgumentError(f"the {name} of a standard has one to four numbers, not {len(row)}")
        what, most = f"the {name} of the {self.kind}", _MOST[name]
        row = (drawn(row[0], what, low=-most, high=most), *row[1:])
        row = tuple(drawn(value, what) for value in row)
        if name not in KINDS[self.kind] and any(np.any(value) for value in row):
            raise ArgumentError(f"a standard of kind '{self.kind}' has no {name}")
        return row

    def reflection(self, frequency: ArrayLike, *, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
        """Reflection coefficient at the reference plane.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz], above zero.
        z_ref : float
            Reference impedance of the result [ohm].

        Returns
        -------
        ndarray, shape (F,)
            Reflection coefficient [1].
        """
        reference(z_ref)
        w = 2 * np.pi * frequencies(frequency)
        # loss per delay [ohm/s]: square root of frequency; zc = z0 + (1 - j) loss / (2 w)
        loss = self.offset_loss * np.sqrt(w / (2 * np.pi * 1e9))
        zc = self.offset_z0 + (1 - 1j) * loss / (2 * w)
        propagation = 1j * w + (1 + 1j) * loss / (2 * self.offset_z0)  # per second of delay
        trip = np.exp(-2 * propagation * self.offset_delay)
        offset = Bilinear.section((zc - z_ref) / (zc + z_ref), trip)
        return offset.apply(self._termination(w, z_ref))

    def quantity(self, frequency: ArrayLike, *, z_ref: float, name: str = "") -> Quantity:
        """Reflection coefficient with the effects of the stated uncertainties.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz], above zero.
        z_ref : float
            Reference impedance of the result [ohm].
        name : str
            Name for the budget; its own by default.

        Returns
        -------
        Quantity
            Reflection coefficient [1] and its effects, all common to every frequency.
        """
        name, value = name or self.name, self.reflection(frequency, z_ref=z_ref)
        effects: list[Effect] = []
        for parameter, deviation in self.uncertainty.items():
            if parameter == "reflection":
                effects += both_axes(f"{name}: residual reflection", deviation)
            elif deviation:
                ends = np.array([[-deviation], [deviation]])
                low, high = self.off(parameter, ends).reflection(frequency, z_ref=z_ref)
                change = (high - low) / 2
                bent = np.max(np.abs(change)) > STRAIGHT
                curve = (high + low) / 2 - value if bent else 0.0
                effects.append(Effect(f"{name}: {parameter}", change, curve=curve))
        return Quantity(value, tuple(effects))

    def off(self, parameter: str, deviation: Any) -> "Standard":
        """The same standard with one uncertain parameter off.

        Parameters
        ----------
        parameter : str
            As a key of `uncertainty`, but for ``reflection``.
        deviation : float or ndarray, shape (N, 1)
            By how much, in its unit; or draws.

        Returns
        -------
        Standard
            Of the same uncertainty.
        """
        known = set(STANDARD_UNCERTAIN[self.kind]) - {"reflection"}
        choice(parameter, f"what is off of a standard of kind '{self.kind}'", sorted(known))
        drawn(deviation, "by how much it is off")
        name = "offset_delay" if parameter == "delay" else parameter
        own = getattr(self, name)
        row = isinstance(own, tuple)
        moved: Any = (own[0] + deviation, *own[1:]) if row else own + deviation
        return replace(self, **{name: moved})

    def _termination(self, w: Real, z_ref: float) -> Complex:
        """Reflection of the termination itself, the offset line taken away."""
        hertz = w / (2 * np.pi)
        q = 1j * z_ref * w * _polynomial(self.capacitance, hertz)
        if self.kind == "open":
            return np.asarray((1 - q) / (1 + q))
        # R + j w L, with q across it
        z = 1j * w * _polynomial(self.inductance, hertz)
        z = z + self.resistance if self.kind == "load" else z
        return np.asarray((z * (1 - q) - z_ref) / (z * (1 + q) + z_ref))


_LIMITS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("resistance", "resistance [ohm]", {"low": 0, "above": True}),
    ("offset_delay", "offset delay [s]", {"low": -MOST_DELAY_S, "high": MOST_DELAY_S}),
    ("offset_loss", "offset loss [ohm/s]", {"low": 0, "high": 1e15}),
    ("offset_z0", "offset impedance [ohm]", {"low": LEAST_OHM, "high": MOST_OHM}),
)


@dataclass(frozen=True, eq=False)
class Tabulated(Reflector):
    """A standard or artefact whose reflection is itself a sweep (kind ``known``).

    Parameters
    ----------
    grid : array_like, shape (G,)
        Frequencies of the table [Hz], ascending.
    values : array_like, shape (G,)
        Reflection coefficient [1] in `z_table`.
    z_table : float
        Reference impedance of `values` [ohm].
    uncertainty : mapping of str to float
        As for `Standard`; only ``reflection`` has a meaning here.
    name : str
        Name in the budget; ``"known"`` by default.

    Examples
    --------
    >>> stub = Tabulated([1e6, 2e6], [0.99j, 0.98j])
    >>> print(stub.reflection([2e6]))
    [0.+0.98j]
    """

    grid: ArrayLike  # kept as a read-only array, and so is the next
    values: ArrayLike
    z_table: float = defaults.REFERENCE_OHM
    uncertainty: Mapping[str, float] = field(default_factory=dict)
    name: str = "known"
    kind: ClassVar[str] = "known"

    def __post_init__(self) -> None:
        reference(self.z_table)
        grid = frozen(frequencies(self.grid), "")
        values = frozen(self.values, "a table's values")
        if grid.ndim != 1 or values.shape != grid.shape or np.any(np.diff(grid) <= 0):
            raise ArgumentError(
                "the table of a standard needs ascending frequencies and a value for each, found "
                f"shapes {grid.shape} and {values.shape}"
            )
        if grid[-1] < MEGAHERTZ_HZ:
            usual = f"is the unit right, or is it {grid[-1]:.10g} MHz?"
            raise ArgumentError(f"the table ends at {grid[-1]:.10g} Hz, too low for use: {usual}")
        if not np.isfinite(values).all():
            raise ArgumentError("the table of a standard has values that are not finite")
        if np.abs(values).max() > MOST_REFLECTION:
            raise ArgumentError(
                f"the values that define '{self.name}' come to a reflection of "
                f"{np.abs(values).max():.4g}, and nothing without a source reflects more than all "
                "of it: are they ohms?"
            )
        if not isinstance(self.name, str) or not self.name or not self.name.isprintable():
            raise ArgumentError(f"the name of a table is a line of text, found {self.name!r}")
        known = deviations(self.uncertainty, "a table", STANDARD_UNCERTAIN[self.kind])
        for name, value in {"grid": grid, "values": values, "uncertainty": known}.items():
            object.__setattr__(self, name, value)

    def reflection(self, frequency: ArrayLike, *, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
        """Reflection coefficient, interpolated between the table's points where needed.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        z_ref : float
            Reference impedance of the result [ohm].

        Returns
        -------
        ndarray, shape (F,)
            Reflection coefficient [1].
        """
        return self.quantity(frequency, z_ref=z_ref).value

    def quantity(self, frequency: ArrayLike, *, z_ref: float, name: str = "") -> Quantity:
        """Reflection coefficient with its effects, the interpolation's own among them.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        z_ref : float
            Reference impedance of the result [ohm].
        name : str
            Name for the budget and for errors; its own by default.

        Returns
        -------
        Quantity
            Reflection coefficient [1] and its effects.
        """
        reference(z_ref)
        name, frequency = name or self.name, np.atleast_1d(frequencies(frequency))
        table = renormalise(self.values, self.z_table, z_ref)
        effects = both_axes(f"{name}: residual reflection", self.uncertainty.get("reflection", 0.0))
        if same_grid(frequency, self.grid):
            return Quantity(table, effects)
        what = f"the values that define '{name}'"
        value, doubt = between_points(frequency, self.grid, table, what=what)
        return Quantity(value, (*effects, *both_axes(f"{name}: interpolation", doubt)))


def with_default_uncertainty(standard: Standard | Tabulated) -> Standard | Tabulated:
    """The same standard with its kind's default uncertainties where it leaves them open."""
    return replace(standard, uncertainty={**missing_uncertainty(standard), **standard.uncertainty})


def missing_uncertainty(standard: Standard | Tabulated) -> dict[str, float]:
    """The default uncertainties that stand in for what a standard does not state, by parameter.

    There are none where ``reflection`` is stated, which is the whole doubt about a standard.
    """
    stated = standard.uncertainty
    if "reflection" in stated:
        return {}
    if isinstance(standard, Tabulated):
        usual = dict(defaults.STANDARD["known"])
    else:
        usual = dict(defaults.BUILT[standard.build][standard.kind])
        if standard.kind == "load":
            usual["resistance"] = defaults.LOAD_RELATIVE[standard.build] * standard.resistance
        if standard.offset_delay:
            usual["delay"] = defaults.OFFSET_DELAY_S[standard.build]
    return {k: v for k, v in usual.items() if k not in stated}
