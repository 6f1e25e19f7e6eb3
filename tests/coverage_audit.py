"""Does the truth lie inside as often as it is said? Whole measurements, simulated by thousands.

In every session each error is drawn as stated: what the standards really are and how they were
connected, what the analyzer read and how it drifted, what the lines on the path really are. The
standards are solved and the device corrected as in any record. Sessions lie along the frequency
axis, so that one call computes them all.
"""

from dataclasses import dataclass, replace

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, from_impedance
from rfcal.measurement.bench import Known, Moved
from rfcal.measurement.deembedding import Step
from rfcal.measurement.error_terms import Calibration, drift_effects, solve
from rfcal.measurement.propagate import Inputs, figures_of, impedance, propagate, region
from rfcal.models.standards import Standard, with_default_uncertainty
from rfcal.planning.plan import Setup
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.coverage import K_AXIS, K_ELLIPSE
from rfcal.uncertainty.quantity import Quantity


@dataclass(frozen=True, eq=False)
class Audit:
    """How often the truth was inside."""

    sessions: int
    # sessions in which the truth was inside ``region`` (of the reflection), ``resistance``,
    # ``reactance``, ``impedance_magnitude`` and ``swr``, and inside the linear intervals ``linear
    # resistance`` and ``linear reactance``, for comparison.
    inside: dict[str, int]
    # sessions in which the interval of a figure had no end: these may cover more
    endless: dict[str, int]


def audit(
    setup: Setup,
    device_ohm: complex,
    rng: "np.random.Generator",
    *,
    sessions: int = 4000,
    again: str = "",
) -> Audit:
    """Simulate whole measurements of one device at the middle of a set-up's frequencies.

    One standard is read once more after it, if named.
    """
    here = setup.repeated(sessions)
    true = complex(from_impedance(complex(device_ohm), setup.z_ref))
    inputs = session(here, np.full(sessions, true), rng, again)
    reflection = propagate(inputs)
    figures = figures_of(inputs, reflection, setup.z_ref)
    inside = {"region": int(np.sum(region(inputs, reflection).holds(true, K_ELLIPSE)))}
    endless = {}
    size = abs(true)
    truth: dict[str, float] = {
        "resistance": complex(device_ohm).real,
        "reactance": complex(device_ohm).imag,
        "impedance_magnitude": float(abs(device_ohm)),
        "swr": float((1 + size) / (1 - size)) if size < 1 else np.inf,
    }
    for name, value in truth.items():
        low, high = figures[name].low, figures[name].high
        # the slack is for rounding at a bound
        slack = 1e-9 * abs(value) if np.isfinite(value) else 0.0
        inside[name] = int(np.sum((low <= value + slack) & (value - slack <= high)))
        endless[name] = int(np.sum(~np.isfinite(low) | ~np.isfinite(high)))
    return Audit(sessions, inside | _linear(reflection, complex(device_ohm), setup.z_ref), endless)


def _linear(reflection: Quantity, true: complex, z_ref: float) -> dict[str, int]:
    """The plain intervals of R and X: middle and two standard deviations."""
    ohm = impedance(reflection, z_ref)
    half = K_AXIS * np.sqrt(np.diagonal(ohm.covariance(), axis1=-2, axis2=-1))
    off = ohm.value - true
    return {
        "linear resistance": int(np.sum(np.abs(off.real) <= half[:, 0])),
        "linear reactance": int(np.sum(np.abs(off.imag) <= half[:, 1])),
    }


def session(setup: Setup, true: Complex, rng: "np.random.Generator", again: str = "") -> Inputs:
    """One session at every frequency of a set-up, with errors of its own."""
    if setup.residual is not None or any(line.kind != "cable" for line in setup.lines):
        raise CalibrationError("an audit takes standards, and lines known by their figures")
    planned, box, bench = setup.inputs(true), setup.box(), setup.bench()
    calibration, moved = standards(setup, planned, rng, again)
    bench = replace(bench, moved=moved)
    path = tuple(
        replace(s, parameters=tuple(_apart(p) for p in s.parameters)) for s in planned.path
    )
    connection = _apart(planned.connection)
    raw = box.apply(_through(path, true, rng) + _once(connection, rng))
    sweep = _read(setup, "device", _drifted(setup, planned, "device", raw, rng), rng)
    return Inputs(calibration, _apart(bench.reading(calibration, sweep)), connection, path)


def standards(
    setup: Setup, planned: Inputs, rng: "np.random.Generator", again: str
) -> tuple[Calibration, tuple[Moved, ...]]:
    """The standards of every session, and how far what is read again has moved."""
    box, bench, names = setup.box(), setup.bench(), list(setup.standards)
    known = [_apart(k) for k in planned.calibration.known]
    own = [_actual(item, setup, rng) for item in bench.standards]

    def read(label: str, x: Complex) -> Complex:
        return box.apply(x + _once(_apart(Quantity(0 * x, bench.connection(label))), rng))

    sweeps = [_read(setup, n, read(n, x), rng) for n, x in zip(names, own, strict=True)]
    calibration = solve(setup.frequency, names, known, [bench.raw(s) for s in sweeps])
    if not again:
        return calibration, ()
    # what the artefact is stays, and it is connected anew
    first, label = names.index(again), f"{again}, read again"
    raw = _drifted(setup, planned, label, read(label, own[first]), rng)
    moved = bench.again(calibration, sweeps[first], _read(setup, label, raw, rng))
    return calibration, (replace(moved, apart=True),)


def _actual(item: Known, setup: Setup, rng: "np.random.Generator") -> Complex:
    """What a standard really reflects in every session, by its own model and not by its slopes."""
    quantity = _apart(item.quantity(setup.frequency, setup.z_ref))
    model = with_default_uncertainty(item.model)
    if not isinstance(model, Standard):
        return _once(quantity, rng)
    residual = tuple(e for e in quantity.effects if e.source.endswith("residual reflection"))
    for parameter, deviation in model.uncertainty.items():
        if parameter != "reflection":
            many = deviation * rng.standard_normal((1, quantity.value.size))
            model = model.off(parameter, many)
    true = model.reflection(setup.frequency, z_ref=setup.z_ref)[0]
    return _once(Quantity(true, residual), rng)


def _drifted(
    setup: Setup, planned: Inputs, label: str, raw: Complex, rng: "np.random.Generator"
) -> Complex:
    """What is read of a raw reflection [1] later, after the error terms have drifted."""
    drifts = drift_effects(label, planned.calibration, raw, setup.drift)
    return _once(_apart(Quantity(raw, drifts)), rng)


def _through(path: tuple[Step, ...], true: Complex, rng: "np.random.Generator") -> Complex:
    """What is seen at the plane of a device behind lines that are not quite as believed."""
    for step in reversed(path):
        actual = [_once(p, rng) for p in step.parameters]
        true = step.element.bilinear(actual).apply(true)
    return true


def _apart(quantity: Quantity) -> Quantity:
    """Every session has errors of its own: what is common to all frequencies no longer is."""
    return Quantity(quantity.value, tuple(replace(e, per_point=True) for e in quantity.effects))


def _once(quantity: Quantity, rng: "np.random.Generator") -> Complex:
    return quantity.draw(rng, 1)[0]


def _read(setup: Setup, label: str, raw: Complex, rng: "np.random.Generator") -> Sweep:
    """A reading with the errors of noise and display."""
    planned = setup.read(label, raw)
    return replace(planned, reflection=_once(setup.bench().raw(planned), rng))
