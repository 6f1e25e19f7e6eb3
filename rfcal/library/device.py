"""A corrected device: what it is at a frequency, moved to another plane, saved."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal import defaults
from rfcal.errors import ArgumentError, CalibrationError, ReadingError
from rfcal.feedline.power import PathLoss, path_loss
from rfcal.findings import grid_words
from rfcal.maths.arguments import MEGAHERTZ_HZ, deviations, frozen, number
from rfcal.maths.reflection import Real
from rfcal.measurement import propagate
from rfcal.measurement.bench import Bench
from rfcal.measurement.deembedding import PathElement
from rfcal.measurement.propagate import Assessment, Inputs
from rfcal.models.interpolation import reaches
from rfcal.models.line import UNCERTAIN, Line
from rfcal.readings.sweep import NPort, Sweep, TwoPortSweep, as_sweep, network_of
from rfcal.readings.touchstone import touchstone_text
from rfcal.uncertainty import coverage
from rfcal.uncertainty.derived import Figure, ends_of
from rfcal.uncertainty.quantity import Quantity, at_points, blocks
from rfcal.uncertainty.significance import active_points
from rfcal.uncertainty.words import Answer, mhz, value_at


@dataclass(frozen=True, eq=False)
class Device:
    """One corrected measurement over frequency, with all that makes it uncertain.

    `CalibratedAnalyzer.correct` gives one, and a record's results hold one for each measurement.

    Parameters
    ----------
    name : str
        Its name.
    raw : Sweep
        What the analyzer showed.
    inputs : Inputs
        The reading and all it depends on.
    reflection : Quantity
        Corrected reflection coefficient [1]: ``reflection.value`` and its effects.
    bench : Bench
        The analyzer and the standards that it was corrected with.
    between : tuple of PathElement
        What was removed or added between the standards' plane and it.
    answer : int
        Index of the frequency at which the answer in words is quoted.
    path_loss : PathLoss, optional
        What the path that was removed loses on the way to it.
    seed : int
        For random draws.
    assessed : Assessment, optional
        Monte Carlo beside the linear answer, where a record's job asked it.
    other : Device, optional
        What it may be as well, where the display shows less than R and X and nothing read tells.

    Examples
    --------
    >>> import rfcal
    >>> results = rfcal.compute("data/demo/beacon-antenna")
    >>> antenna = results.device("antenna")
    >>> antenna
    <Device 'antenna': 201 points from 69 to 72 MHz>
    >>> print(antenna.at(70.2e6).resistance)
    31.11 ± 0.29 ohm
    >>> line = rfcal.Line(0.5, velocity_factor=0.66, conductor_db=0.5)
    >>> below = antenna.add(line)
    >>> print(below.at(70.2e6).resistance)
    71.9 ± 5.1 ohm
    >>> print(below.plane)
    the device's own plane, after 'antenna: line 1' was added
    >>> print(below.to_network())
    1-Port Network: 'antenna',  69000000.0-72000000.0 Hz, 201 pts, z0=[50.+0.j]

    All points are arrays; `answer` is the one that is quoted.

    >>> at = antenna.answer
    >>> print(antenna.frequency[at], antenna.z_ref, antenna.impedance.value[at].round(1))
    70200000.0 50.0 (31.1+5j)
    >>> antenna.interval[at].round(1).tolist()
    [[30.8, 31.4], [4.8, 5.2]]
    >>> max(antenna.budget, key=lambda source: antenna.budget[source][at, 0])
    'load: resistance'
    """

    name: str
    raw: Sweep
    inputs: Inputs
    reflection: Quantity
    bench: Bench
    between: tuple[PathElement, ...]
    answer: int
    path_loss: PathLoss | None = None
    seed: int = defaults.SEED
    assessed: Assessment | None = None
    other: "Device | None" = None

    def __repr__(self) -> str:
        return f"<Device '{self.name}': {grid_words(self.frequency)}>"

    @property
    def frequency(self) -> Real:
        """Frequencies [Hz], shape (F,)."""
        return self.raw.frequency

    @property
    def z_ref(self) -> float:
        """Reference impedance of the reflection [ohm]."""
        return self.bench.z_ref

    @property
    def plane(self) -> str:
        """Where the answer holds, in words."""
        removed = ", ".join(f"'{item.name}'" for item in self.between if not item.embed)
        added = ", ".join(f"'{item.name}'" for item in self.between if item.embed)
        said = [f"after {removed} was taken away"] if removed else []
        said += [f"after {added} was added"] if added else []
        if not said:
            return "the standards' plane"
        return f"the device's own plane, {' and '.join(said)}"

    @property
    def two_answers(self) -> NDArray[np.bool_]:
        """Where it may be `other` as well, shape (F,)."""
        mine, other = self.reflection.value, self.other
        two = np.zeros(mine.shape, bool) if other is None else mine != other.reflection.value
        two.setflags(write=False)
        return two

    @cached_property
    def impedance(self) -> Quantity:
        """Corrected impedance [ohm]: ``impedance.value`` and its effects."""
        return propagate.impedance(self.reflection, self.z_ref)

    @cached_property
    def budget(self) -> Mapping[str, Real]:
        """Each source's share of the variance of R and of X, shape (F, 2)."""
        shares = coverage.budget(self.impedance)
        return MappingProxyType({k: frozen(v, k, copy=False) for k, v in shares.items()})

    @cached_property
    def interval(self) -> Real:
        """95 % intervals of R and of X, each by itself, shape (F, 2, 2): last axis low and high.

        They are right beside an open and at the edge of the chart too, where they are lopsided;
        infinite where nothing bounds them. A passive device's R is not below zero.
        """
        parts = [ends_of(self._piece(index).figures) for index in blocks(self.frequency.size)]
        return frozen(np.concatenate(parts), "intervals", copy=False)

    def _piece(self, index: slice) -> "Device":
        if index.stop >= self.frequency.size and not index.start:
            return self
        reflection, raw = self.reflection.at_points(index), at_points(self.raw, index)
        return replace(self, raw=raw, inputs=self.inputs.at(index), reflection=reflection)

    def expanded_uncertainty(self) -> Real:
        """The larger side of each 95 % interval of R and of X.

        Returns
        -------
        ndarray, shape (F, 2)
            Distances [ohm], infinite where R or X has no bound.
        """
        z = self.impedance.value
        middle = np.stack([z.real, z.imag], axis=-1)
        middle = np.where(np.isfinite(middle), middle, 0)  # an exact open has no bound anyway
        return np.max(np.abs(self.interval - middle[..., None]), axis=-1)

    @cached_property
    def figures(self) -> Mapping[str, Figure]:
        """What is read off the reflection, each with its 95 % interval: SWR, L, C, Q and others."""
        passive = ~active_points(self.reflection)
        of = self.inputs, self.reflection, self.z_ref
        return propagate.figures_of(*of, passive=passive)

    def at(self, frequency: float) -> Answer:
        """R, X and SWR at one frequency, each with its 95 % interval.

        Parameters
        ----------
        frequency : float
            Frequency [Hz] within the sweep.

        Returns
        -------
        Answer
            Of the nearest point that was measured, up to half a step away: nothing is interpolated.
            Its `frequency` is that point's own.
        """
        number(frequency, "the frequency [Hz]", low=0, above=True)
        if not reaches(self.frequency, frequency):
            unit = ": frequencies are in Hz" if frequency < MEGAHERTZ_HZ else ""
            raise ArgumentError(
                f"{mhz(frequency)} is outside the sweep of '{self.name}', which has "
                f"{grid_words(self.frequency)}{unit}"
            )
        near = int(np.argmin(np.abs(self.frequency - frequency)))
        (here,) = (s for s in blocks(self.frequency.size) if s.start <= near < s.stop)
        figures = self._piece(here).figures
        values = [
            value_at(figures[n], near - here.start) for n in ("resistance", "reactance", "swr")
        ]
        return Answer(float(self.frequency[near]), *values)

    def remove(
        self,
        element: Line | tuple[Sweep | NPort, Sweep | NPort] | TwoPortSweep | NPort,
        *,
        fixture: bool = False,
        uncertainty: Mapping[str, float] | None = None,
    ) -> "Device":
        """The device itself, beyond something that lies between the standards' plane and it.

        Parameters
        ----------
        element : Line, (Sweep, Sweep), or skrf.Network of two ports
            A line by its figures or type; a line or fixture by raw readings of its far end open
            and short (or networks of one port), taken with the same calibration and, where it is
            long, on the same day; or an adapter, port 1 to the analyzer.
        fixture : bool
            Whether two readings are those of a fixture, not of a line.
        uncertainty : mapping of str to float, optional
            Standard uncertainties: of a line as for `Line`, over its own; ``far end`` of what the
            open and the short reflect [1]; ``adapter`` of its scattering parameters [1].

        Returns
        -------
        Device
            With the element's uncertainties added to its own.
        """
        if any(item.embed for item in self.between):
            raise CalibrationError(
                f"'{self.name}' has something added already: remove first, then add"
            )
        return self._with(element, fixture, uncertainty, embed=False)

    def add(
        self,
        element: Line | tuple[Sweep | NPort, Sweep | NPort] | TwoPortSweep | NPort,
        *,
        fixture: bool = False,
        uncertainty: Mapping[str, float] | None = None,
    ) -> "Device":
        """The device as it is seen through something in front of it.

        Parameters
        ----------
        element : Line, (Sweep, Sweep), or skrf.Network of two ports
            As for `remove`.
        fixture : bool
            As for `remove`.
        uncertainty : mapping of str to float, optional
            As for `remove`.

        Returns
        -------
        Device
            With the element's uncertainties added to its own.
        """
        return self._with(element, fixture, uncertainty, embed=True)

    def _with(self, element: Any, fixture: bool, uncertainty: Any, *, embed: bool) -> "Device":
        kind, known_by, keys = _known_by(element)
        if fixture and kind != "measured":
            raise ArgumentError(f"a fixture is known by two readings, and this is a {kind}")
        kind = "fixture" if fixture else kind
        name = f"{self.name}: {kind} {len(self.between) + 1}"
        if kind not in ("line", "adapter"):
            ends = zip(known_by, ("open", "short"), strict=True)
            known_by = tuple(replace(sweep, label=f"{name}, {end}") for sweep, end in ends)
        item = PathElement(
            name,
            known_by,
            fixture=fixture,
            deviations=deviations({} if uncertainty is None else uncertainty, f"'{name}'", keys),
            embed=embed,
        )
        try:
            return self.behind((*self.between, item))
        except CalibrationError as error:
            raise CalibrationError(f"'{name}': {error}") from error

    def behind(self, between: tuple[PathElement, ...]) -> "Device":
        """The device that the same reading shows behind a path, such as another device's.

        Parameters
        ----------
        between : tuple of PathElement
            All that lies between the standards' plane and it, as `between` holds it.

        Returns
        -------
        Device
            At the end of that path.
        """
        here = self.inputs.calibration
        steps = self.bench.steps(here, between)
        inputs, reflection = self.bench.corrected(here, self.raw, steps)
        loss = path_loss(inputs, reflection.value, np.random.default_rng(self.seed))
        return replace(
            self,
            inputs=inputs,
            reflection=reflection,
            between=between,
            path_loss=loss,
            assessed=None,
            other=self.other and self.other.behind(between),
        )

    def save(self, file: str | Path, *, force: bool = False) -> None:
        """Write the corrected reflection as a one-port Touchstone file.

        Parameters
        ----------
        file : str or Path
            Where to, a name that ends in ``.s1p``.
        force : bool
            Whether what stands there is written over.

        Raises
        ------
        ReadingError
            A file that is there already, or that cannot be written.
        """
        path = Path(file)
        if path.suffix.lower() != ".s1p":
            raise ArgumentError(f"a one-port Touchstone file ends in .s1p, found '{path.name}'")
        text = self.touchstone()
        try:
            with path.open("w" if force else "x", encoding="utf-8") as out:
                out.write(text)
        except OSError as error:
            why = f"cannot be written ({error.strerror}); force=True writes over what is there"
            raise ReadingError(str(file), why) from error

    def touchstone(self, more: str = "") -> str:
        """The corrected reflection as the text of a one-port Touchstone file.

        Parameters
        ----------
        more : str
            What its line of comment says besides.

        Returns
        -------
        str
            With one line of comment that says where it holds.
        """
        about = f"{self.name}: corrected reflection at {self.plane}"
        if np.any(self.two_answers):
            about += ", the first of two answers"
        return touchstone_text(self.frequency, self.reflection.value, self.z_ref, about + more)

    def to_network(self) -> Any:
        """The corrected reflection as a network of scikit-rf.

        Returns
        -------
        skrf.Network
            Of one port, in the same reference impedance.
        """
        return network_of(self.frequency, self.reflection.value, self.z_ref, self.name)


def _known_by(element: Any) -> tuple[str, Any, Mapping[str, float]]:
    """Kind of an element, what it is known by, and what may be uncertain of it, up to what."""
    if isinstance(element, NPort):
        element = TwoPortSweep.from_network(element)
    if isinstance(element, TwoPortSweep):
        return "adapter", element, {"adapter": 1.0}
    if isinstance(element, Line):
        return "line", element, UNCERTAIN
    return "measured", tuple(map(as_sweep, element)), {"far end": 1.0}
