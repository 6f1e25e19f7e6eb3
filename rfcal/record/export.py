"""Results as files: ``results.json`` and corrected Touchstone."""

import json
import math
import re
from typing import Any

import numpy as np

from rfcal.maths.reflection import Complex, Real
from rfcal.record.results import (
    Check,
    Device,
    LineState,
    MatchResult,
    Proposal,
    Results,
    error_terms,
)
from rfcal.uncertainty import coverage
from rfcal.uncertainty.coverage import degrees_of_freedom

UNITS = {"ohm": "ohm", "H": "h", "F": "f", "dB": "db"}
"""Endings of the keys of derived figures, by unit."""


def plain(value: Any) -> Any:
    """Arrays as nested lists that JSON can hold; infinite or undefined numbers become None."""
    if isinstance(value, np.ndarray | np.generic):
        value = np.asarray(value)
        if np.iscomplexobj(value):
            value = np.stack([value.real, value.imag], axis=-1)
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def results_json(results: Results) -> str:
    """The whole of the results as JSON text, one top-level key a line."""
    record = results.record
    data: dict[str, Any] = {
        "format": 1,
        "record": {
            "title": record.title,
            "date": record.date,
            "reference_ohm": record.reference_ohm,
        },
        "inputs": inputs(results),
        "software": dict(results.software),
        "findings": [vars(f) for f in results.findings],
        "calibration": _calibration(results),
        "checks": [_check(c) for c in results.checks],
        "measurements": [_device(d) for d in results.devices],
    }
    if results.line is not None:
        data["line_check"] = _line(results.line)
    if results.matches:
        data["match"] = [_match(m) for m in results.matches]
    lines = (
        f"{json.dumps(k)}: {json.dumps(plain(v), allow_nan=False, ensure_ascii=False)}"
        for k, v in data.items()
    )
    return "{\n" + ",\n".join(lines) + "\n}\n"


def inputs(results: Results) -> list[dict[str, Any]]:
    """The files that went in, with their fingerprints."""
    return [
        {
            "file": sweep.origin.file,
            "sha256": sweep.origin.sha256,
            "points": sweep.frequency.size,
            "first_hz": float(sweep.frequency[0]),
            "last_hz": float(sweep.frequency[-1]),
        }
        for sweep in results.sweeps
        if sweep.origin is not None
    ]


def _calibration(results: Results) -> dict[str, Any]:
    calibration = results.calibration
    chi_square, freedom = calibration.chi_square()
    return {
        "frequency_hz": calibration.frequency,
        **error_terms(calibration),
        "residual": dict(zip(calibration.names, calibration.residuals(), strict=True)),
        "chi_square": chi_square if freedom else None,
        "degrees_of_freedom": freedom,
        "condition_number": calibration.condition,
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "frequency_hz": check.frequency,
        "measured": check.measured.value,
        "expected": check.expected.value,
        "expanded_uncertainty": check.expanded_uncertainty(),
        "agrees": check.agrees,
        "share_of_points_inside": float(check.inside.mean()),
    }


def _device(device: Device) -> dict[str, Any]:
    z = device.impedance
    covariance = z.covariance()
    assessed = device.assessed
    freedom = degrees_of_freedom(device.reflection)
    shares = coverage.budget(z)
    return {
        "name": device.name,
        "frequency_hz": device.frequency,
        "plane": device.plane,
        "answer_hz": float(device.frequency[device.answer]),
        "reflection": device.reflection.value,
        "reflection_covariance": _upper(device.reflection.covariance()),
        "impedance_ohm": z.value,
        "standard_uncertainty_ohm": coverage.standard_uncertainty(covariance),
        "correlation": coverage.correlation(covariance),
        "expanded_uncertainty_ohm": device.expanded_uncertainty(),
        "interval_ohm": device.interval.reshape(-1, 4),
        "coverage": coverage.COVERAGE,
        "path_loss": device.path_loss and vars(device.path_loss),
        "method": np.where(assessed.linear.all(axis=1), "linear", "monte carlo").tolist(),
        "monte_carlo": {
            "draws": assessed.draws,
            "tolerance_ohm": assessed.tolerance,
            "settled": assessed.settled,
        },
        "region": {
            "centre": assessed.region.centre,
            "covariance": _upper(assessed.region.covariance),
            "radius": assessed.region.radius,
        },
        "degrees_of_freedom": freedom if np.any(np.isfinite(freedom)) else None,
        "derived": {
            f"{name}_{UNITS[figure.unit]}" if figure.unit else name: {
                "value": figure.value,
                "low": figure.low,
                "high": figure.high,
                "one_sided": figure.one_sided,
            }
            for name, figure in device.figures.items()
        },
        "budget": [
            {"source": source, "share_r": share[:, 0], "share_x": share[:, 1]}
            for source, share in shares.items()
        ],
    }


def _line(line: LineState) -> dict[str, Any]:
    now, found = line.now, line.properties
    columns = (now.distance_m, now.distance_uncertainty_m, now.reflection, now.kind)
    names = ("distance_m", "distance_uncertainty_m", "reflection", "kind")
    against: dict[str, Any] = {"changes": None}
    if line.comparison is not None:
        shift = line.comparison.shift
        against = vars(line.comparison) | {
            "shift": shift and vars(shift),
            "changes": [
                {**vars(c), "before": np.array(c.before), "after": np.array(c.after)}
                for c in line.comparison.changes
            ],
        }
    data: dict[str, Any] = {
        "events": [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)],
        **against,
        "length_m": line.length_m or None,
        "resolution_m": now.resolution_m,
        "range_m": now.range_m,
        "velocity_factor": now.velocity_factor,
    }
    if found is None:
        return data
    loss, of_loss = found.loss_db(line.frequency)
    return data | {
        "length_uncertainty_m": line.length_uncertainty_m,
        "delay_ns": found.delay_s * 1e9,
        "delay_uncertainty_ns": found.standard_uncertainty["delay"] * 1e9,
        "z0_ohm": found.line.z0,
        "z0_uncertainty_ohm": found.standard_uncertainty["z0"],
        "loss_db": np.stack([line.frequency, loss], axis=-1),
        "loss_uncertainty_db": of_loss,
    }


def _match(result: MatchResult) -> dict[str, Any]:
    request = result.request
    return {
        "measurement": request.measurement,
        "frequency_hz": request.centre_hz,
        "band_hz": list(request.band_hz),
        "place": request.place,
        "section_q": request.section_q,
        "phase_deg": request.phase_deg,
        "networks": [_network(result, p) for p in result.proposals],
        "refused": result.ranking.refused,
        "path_loss_db": result.path_db,
        "worst_swr_at_plane": result.plane_swr,
        "limit_swr": result.limit.swr if result.limit and result.limit.told else None,
        "trim": result.trimming
        and {"verdict": result.trimming.verdict, "message": result.trimming.message},
    }


def _network(result: MatchResult, proposal: Proposal) -> dict[str, Any]:
    candidate, goal = proposal.candidate, result.goal
    elements = zip(candidate.network.elements, candidate.ideal.elements, strict=True)
    return {
        "topology": candidate.network.topology,
        "parts": [
            {
                "role": f"{real.place} {real.name}",
                "ideal": float(ideal.value),
                "chosen": float(real.value),
                "unit": real.unit,
                "loss_db": float(candidate.losses_db[k]),
                "volts_peak": float(proposal.volt[k]),
                "amps_peak": float(proposal.ampere[k]),
                "line": real.line
                and {
                    "z0_ohm": real.line.z0,
                    "velocity_factor": real.line.velocity_factor,
                    "loss_db_per_100m": float(real.line.loss_db_per_100m(goal.centre_hz)),
                },
            }
            for k, (real, ideal) in enumerate(elements)
        ],
        "swr_at_frequency": float(np.interp(goal.centre_hz, goal.frequency, candidate.swr)),
        "worst_swr_in_band": candidate.worst_swr,
        "share_of_limit": result.limit and result.limit.reached(candidate.worst_swr),
        "loss_db": candidate.loss_db,
        "bandwidth_hz": {"1.5": candidate.at_1_5.width_hz, "2": candidate.at_2.width_hz},
        "yield": proposal.production.both,
        "yield_parts": proposal.production.parts,
        "yield_measurement": proposal.production.measurement,
        "volts_peak": float(proposal.volt.max(initial=0.0)),
        "amps_peak": float(proposal.ampere.max(initial=0.0)),
    }


def _upper(covariance: np.ndarray) -> np.ndarray:
    return np.stack([covariance[:, 0, 0], covariance[:, 0, 1], covariance[:, 1, 1]], axis=-1)


def touchstone(device: Device) -> str:
    """A corrected measurement as a one-port Touchstone file."""
    about = f"{device.name}: corrected reflection at {device.plane}"
    return touchstone_text(device.frequency, device.reflection.value, device.z_ref, about)


def touchstone_text(frequency: Real, reflection: Complex, z_ref: float, about: str) -> str:
    """A sweep [Hz], [1] as a one-port Touchstone file, with one line of comment."""
    from skrf import Frequency, Network

    network = Network(
        frequency=Frequency.from_f(frequency, unit="hz"),
        s=reflection[:, None, None],
        z0=z_ref,
        name="sweep",
        comments=" ".join(about.split()),
    )
    return network.write_touchstone("sweep.s1p", return_string=True, form="ri")


def slug(name: str) -> str:
    """A file name made of a measurement's name: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower())[:60].strip("-") or "measurement"


def file_names(results: Results) -> dict[str, str]:
    """The Touchstone file of each measurement, no two the same."""
    names: dict[str, str] = {}
    for device in results.devices:
        base, number = slug(device.name), 2
        file = f"{base}.s1p"
        while file in names.values():
            file, number = f"{base}-{number}.s1p", number + 1
        names[device.name] = file
    return names
