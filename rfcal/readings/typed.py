"""Numbers typed off a display, as a `Sweep` with the display's step in its uncertainty."""

from collections.abc import Sequence

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import HIGHEST_HZ, require_ascending, require_plausible
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Effect, both_axes

LARGEST_TYPED = 5.0
"""A typed magnitude beyond this is no reading, but decibels perhaps [1]."""


def typed_sweep(
    rows: Sequence[Sequence[float]], *, label: str, step_ohm: float, z_ref: float, where: str
) -> Sweep:
    """A sweep from rows of MHz, R ohm and X ohm, off a display with this step."""
    table = np.array(rows, float)
    frequency = from_megahertz(table[:, 0], where)
    reflection = from_impedance(table[:, 1] + 1j * table[:, 2], z_ref)
    require_plausible(reflection, where)
    effects = display_effects(label, step_ohm, reflection, z_ref)
    return Sweep(frequency, reflection, z_ref, label, effects=effects)


def typed_reflection_sweep(
    rows: Sequence[Sequence[float]],
    *,
    label: str,
    steps: tuple[float, float],
    z_ref: float,
    where: str,
) -> Sweep:
    """A sweep from rows of MHz, magnitude and degrees, off a display with these two steps."""
    table = np.array(rows, float)
    frequency = from_megahertz(table[:, 0], where)
    for i, (_, magnitude, degrees) in enumerate(rows, start=1):
        if not 0 <= magnitude <= LARGEST_TYPED or abs(degrees) > 360:
            raise ReadingError(
                where,
                f"row {i}: {magnitude:g} at {degrees:g} degrees is no reading; give a magnitude "
                f"from 0 to {LARGEST_TYPED:g} (a return loss of 10 dB is 0.316) and an angle "
                "within 360 degrees",
            )
    direction = np.exp(1j * np.radians(table[:, 2]))
    reflection = table[:, 1] * direction
    effects = polar_effects(label, steps, reflection, direction)
    return Sweep(frequency, reflection, z_ref, label, effects=effects, assumed_reference=True)


def from_megahertz(column: Real, where: str) -> Real:
    """The first column of typed rows, checked [Hz]."""
    if column[-1] * 1e6 > HIGHEST_HZ:
        raise ReadingError(where, f"the first column is MHz, and {column[-1]:.10g} is too much")
    require_ascending(column * 1e6, where)
    return column * 1e6


def display_effects(
    label: str, step_ohm: float | Real, reading: Complex, z_ref: float
) -> tuple[Effect, ...]:
    """What the display's step makes uncertain of an impedance that was typed off it, along R and X.

    A display shows the nearest step: an even spread of one step, so step / sqrt(12).
    """
    return both_axes(
        f"{label}: display step",
        step_ohm / np.sqrt(12),
        slope=(1 - reading) ** 2 / (2 * z_ref),
        per_point=True,
        rectangular=True,
    )


def polar_effects(
    label: str, steps: tuple[float, float], reading: Complex, direction: Complex | None = None
) -> tuple[Effect, ...]:
    """What the display's steps [1, degree] make uncertain of a magnitude and an angle typed off it.

    The direction of a reading that may be zero is stated.
    """
    if direction is None:
        direction = np.exp(1j * np.angle(reading))
    name, (size, turn) = f"{label}: display step", np.array(steps) / np.sqrt(12)
    ways = {"magnitude": size * direction, "angle": np.radians(turn) * 1j * reading}
    return tuple(
        Effect(name, change, per_point=True, rectangular=True, influence=(name, way))
        for way, change in ways.items()
    )
