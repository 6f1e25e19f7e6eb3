"""Raw readings: Touchstone or CSV files, numbers typed off a display, networks, as one `Sweep`.

Networks are scikit-rf's; whatever has their frequencies, parameters and z0 will do.
"""

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.errors import ArgumentError, ReadingError
from rfcal.findings import grid_words
from rfcal.maths.arguments import (
    LEAST_OHM,
    MOST_OHM,
    frequencies,
    frozen,
    number,
    numbers,
    reference,
)
from rfcal.maths.reflection import Complex, Real, renormalise
from rfcal.models.interpolation import same_grid
from rfcal.readings.content import decoded, whole_file
from rfcal.readings.csv import AS_FOUND, Layout, guessed, read_csv
from rfcal.readings.rows import RECORD_POINTS, Say, require_ascending, require_plausible, silent
from rfcal.readings.touchstone import read_touchstone
from rfcal.uncertainty.coverage import from_repeats
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

NO_REFLECTION = 3.0
"""Raw readings that are larger at most points [1] are no reflections (common practice, no
source)."""


@runtime_checkable
class NPort(Protocol):
    """What is needed of a network: frequencies [Hz], scattering parameters, impedance and name."""

    f: Any
    s: Any
    z0: Any
    name: Any


def parameters_of(network: NPort, ports: int) -> tuple[Real, Complex, float]:
    """Frequencies [Hz], scattering parameters (F, ports, ports) [1] and their reference [ohm].

    Parameters in references that differ from port to port, or over frequency, are those of 50 ohm
    after this, where one port is asked for.
    """
    frequency, s = frequencies(network.f), numbers(network.s, "scattering parameters")
    name = f"the network '{network.name}'" if network.name else "the network"
    if s.shape != (frequency.size, ports, ports):
        hint = ": pass one of its parameters, such as network.s11" if ports == 1 else ""
        raise ArgumentError(
            f"{name} has parameters of shape {s.shape}, and {ports} port(s) are wanted{hint}"
        )
    z0 = np.broadcast_to(numbers(network.z0, "the impedance of a network"), (frequency.size, ports))
    if np.any(np.imag(z0)) or np.any(np.real(z0) < LEAST_OHM) or np.any(np.real(z0) > MOST_OHM):
        raise ArgumentError(
            f"{name} has a reference impedance of {z0.flat[0]:g} ohm, and a real one from "
            f"{LEAST_OHM:g} to {MOST_OHM:g} is wanted: renormalize it"
        )
    first = float(np.real(z0.flat[0]))
    if np.all(z0 == first):
        return frequency, s, first
    if ports > 1:
        raise ArgumentError(f"{name} has several reference impedances: renormalize it to one")
    return frequency, renormalise(s, np.real(z0)[:, :, None], 50.0), 50.0


def network_of(frequency: Real, reflection: Complex, z_ref: float, name: str) -> Any:
    """A network of scikit-rf with one port."""
    import skrf

    grid = skrf.Frequency.from_f(frequency, unit="hz")
    return skrf.Network(frequency=grid, s=reflection[:, None, None], z0=z_ref, name=name)


@dataclass(frozen=True, eq=False)
class Origin:
    """The file that a sweep came from."""

    file: str  # relative to the record's folder
    content: bytes  # as it was read; empty of a sweep that is too long for a record

    @property
    def sha256(self) -> str:
        """Fingerprint of the content, in hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass(frozen=True, eq=False)
class Sweep:
    """One raw sweep.

    Parameters
    ----------
    frequency : array_like, shape (F,)
        Frequencies [Hz], ascending.
    reflection : array_like, shape (F,)
        Reflection coefficient [1].
    z_ref : float
        Reference impedance of `reflection` [ohm].
    label : str
        What the sweep is of, for messages and for the budget.
    origin : Origin, optional
        The file; None for typed readings.
    effects : tuple of Effect
        What the display's step makes uncertain; empty for files.
    assumed_reference : bool
        Whether `z_ref` is the record's for want of a statement: a bare reflection has none.
    parts : tuple of Sweep
        The repeated sweeps that this is the mean of; empty for a single one.

    Examples
    --------
    >>> sweep = Sweep([70e6, 71e6], [0.1 + 0.2j, 0.2j], label="antenna")
    >>> print(sweep)
    antenna: 2 points from 70 to 71 MHz, in 50 ohm
    >>> sweep.quantity(75.0).value.round(3)
    array([-0.11 +0.2j  , -0.208+0.192j])
    """

    frequency: Real
    reflection: Complex
    z_ref: float = defaults.REFERENCE_OHM
    label: str = "reading"
    origin: Origin | None = None
    effects: tuple[Effect, ...] = ()
    assumed_reference: bool = False
    parts: tuple["Sweep", ...] = ()

    if TYPE_CHECKING:  # what may be given is more than what is kept

        def __init__(
            self,
            frequency: ArrayLike,
            reflection: ArrayLike,
            z_ref: float = ...,
            label: str = ...,
            origin: Origin | None = ...,
            effects: tuple[Effect, ...] = ...,
            assumed_reference: bool = ...,
            parts: tuple["Sweep", ...] = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        reference(self.z_ref)
        if not isinstance(self.label, str) or not self.label:
            raise ArgumentError(f"the label of a sweep is a text, found {self.label!r}")
        frequency = frozen(frequencies(self.frequency), "frequencies")
        reflection = frozen(np.asarray(numbers(self.reflection, "reflections"), complex), "")
        if frequency.ndim != 1 or reflection.shape != frequency.shape:
            raise ArgumentError(
                "a sweep has a reflection for each frequency, found shapes "
                f"{frequency.shape} and {reflection.shape}"
            )
        where = f"the sweep '{self.label}'"
        require_ascending(frequency, where)
        require_plausible(reflection, where)
        # what was typed or read from a file has been judged there
        large = np.abs(reflection) > NO_REFLECTION
        if 2 * np.count_nonzero(large) > large.size and self.origin is None and not self.effects:
            raise ArgumentError(
                f"{where} has {np.median(np.abs(reflection)):.3g} at most points, and no "
                "reflection is so large: is this an impedance? Use rfcal.from_impedance for it"
            )
        object.__setattr__(self, "frequency", frequency)
        object.__setattr__(self, "reflection", reflection)

    def __repr__(self) -> str:
        return f"<Sweep {self}>"

    def __str__(self) -> str:
        return f"{self.label}: {grid_words(self.frequency)}, in {self.z_ref:g} ohm"

    @classmethod
    def from_network(cls, network: NPort, label: str = "") -> "Sweep":
        """The reading that a network of scikit-rf holds.

        Parameters
        ----------
        network : skrf.Network
            Of one port; frequencies and reference impedance are kept.
        label : str
            What it is of; the network's name by default.

        Returns
        -------
        Sweep
            The reading.
        """
        frequency, s, z_ref = parameters_of(network, 1)
        return cls(frequency, s[:, 0, 0], z_ref, label or str(network.name or "reading"))

    @property
    def digits(self) -> tuple[bytes, ...]:
        """All its numbers: two that have the same are alike to the last digit."""
        return self.frequency.tobytes(), self.reflection.tobytes()

    @property
    def evidence(self) -> tuple[bytes, ...]:
        """What two readings have in common that are one; nothing of a display's, which may repeat.

        A single number of no file may be a display's too.
        """
        displayed = self.effects or self.frequency.size == 1
        return () if displayed and not (self.origin or self.parts) else self.digits

    def quantity(self, z_ref: float, noise: float = 0.0) -> Quantity:
        """The reading in another reference impedance, with the effects of display and noise.

        Parameters
        ----------
        z_ref : float
            Reference impedance of the result [ohm].
        noise : float
            Standard deviation of real and imaginary part of one reading in its own reference [1];
            of repeated sweeps their own scatter counts instead.

        Returns
        -------
        Quantity
            Reflection coefficient [1].
        """
        reference(z_ref)
        number(noise, "the noise of a reading [1]", low=0)
        value = renormalise(self.reflection, self.z_ref, z_ref)
        step = (self.z_ref - z_ref) / (self.z_ref + z_ref)
        slope = (1 - step**2) / (1 + step * self.reflection) ** 2
        effects = self.effects
        if noise and not self.parts:
            effects = (*effects, *both_axes(f"{self.label}: noise", noise, per_point=True))
        return Quantity(self.reflection, effects).through(value, slope)


def as_sweep(reading: Sweep | NPort, label: str = "") -> Sweep:
    """A reading as a sweep, of that label where one is given, from whatever holds one."""
    if isinstance(reading, NPort):
        return Sweep.from_network(reading, label)
    return replace(reading, label=label) if label else reading


def read_sweep(
    folder: Path,
    *files: str,
    label: str,
    z_ref: float = defaults.REFERENCE_OHM,
    most: int = RECORD_POINTS,
    layout: Layout = AS_FOUND,
    say: Say = silent,
) -> Sweep:
    """A sweep from a file, or the mean of several of one thing, with its scatter.

    Of so many points; a CSV of bare reflections refers to `z_ref` [ohm], and of a file of two ports
    (``.s2p``) S11 is read.
    """
    parts = [_one_sweep(folder, file, label, z_ref, most, layout, say) for file in files]
    first, read = parts[0], dict[tuple[bytes, ...], str]()
    if len(parts) == 1:
        return first
    for file, part in zip(files, parts, strict=True):
        if not same_grid(first.frequency, part.frequency) or part.z_ref != first.z_ref:
            raise ReadingError(
                file,
                f"it has other frequencies or another reference impedance than '{files[0]}': only "
                "sweeps of one kind can be averaged",
            )
        if part.evidence in read:
            why = f"it is '{read[part.evidence]}' to the last digit: only new readings scatter"
            raise ReadingError(file, why)
        read[part.evidence] = file
    mean = from_repeats(np.array([part.reflection for part in parts]), f"{label}: repeats")
    averaged = replace(first, reflection=mean.value, origin=None, effects=mean.effects)
    return replace(averaged, parts=tuple(parts))


def read_guessed(
    folder: Path, file: str, *, label: str, z_ref: float = defaults.REFERENCE_OHM
) -> tuple[Sweep, Layout]:
    """A sweep, and as what the columns of its file were taken where the header is not ours."""
    try:
        return read_sweep(folder, file, label=label, z_ref=z_ref), AS_FOUND
    except ReadingError:
        if not file.lower().endswith(".csv") or not (folder / file).is_file():
            raise
        layout = guessed(decoded(whole_file(folder / file)))
        if layout is None:
            raise
        return read_sweep(folder, file, label=label, z_ref=z_ref, layout=layout), layout


def _one_sweep(
    folder: Path, file: str, label: str, z_ref: float, most: int, layout: Layout, say: Say
) -> Sweep:
    content = _content(folder, file)
    text, bare = decoded(content), False
    if file.lower().endswith(".csv") or layout.columns:
        frequency, reflection, lines, bare = read_csv(text, file, z_ref, most, layout, say)
    else:
        ports = 2 if file.lower().endswith(".s2p") else 1
        frequency, s, z_ref, lines = read_touchstone(text, file, ports=ports, most=most, say=say)
        reflection = s[:, 0, 0]
    require_plausible(reflection, file, lines)
    origin = Origin(file, content if frequency.size <= RECORD_POINTS else b"")
    return Sweep(frequency, reflection, z_ref, label, origin, (), bare)


def _content(folder: Path, file: str) -> bytes:
    try:
        return whole_file(folder / file)
    except (OSError, ValueError) as error:  # a name with a NUL in it is a ValueError
        why = getattr(error, "strerror", None) or str(error)
        raise ReadingError(file or "''", f"cannot be read ({why})") from error


@dataclass(frozen=True, eq=False)
class TwoPortSweep:
    """Scattering parameters of a two-port, such as an adapter."""

    frequency: Real  # (F,) [Hz], ascending
    s: Complex  # (F, 2, 2) [1]
    z_ref: float  # their reference impedance [ohm]
    label: str  # what it is, for messages
    origin: Origin | None = None

    @classmethod
    def from_network(cls, network: NPort) -> "TwoPortSweep":
        """What a network of scikit-rf with two ports holds."""
        frequency, s, z_ref = parameters_of(network, 2)
        return cls(frequency, s, z_ref, str(network.name or "two-port"))


def read_two_port(folder: Path, file: str, *, label: str) -> TwoPortSweep:
    """A two-port from a Touchstone file."""
    content = _content(folder, file)
    frequency, s, z_ref, lines = read_touchstone(
        decoded(content), file, ports=2, most=RECORD_POINTS
    )
    require_plausible(np.abs(s).max(axis=(1, 2)), file, lines)
    return TwoPortSweep(frequency, s, z_ref, label, Origin(file, content))
