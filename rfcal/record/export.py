"""Results as files: ``results.json`` and corrected Touchstone."""

from collections.abc import Iterator, Mapping
from itertools import chain, count, repeat
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.comparison import Comparison
from rfcal.feedline.changes.loss import Lost
from rfcal.matching.ranking import Group
from rfcal.maths.reflection import swr
from rfcal.models.line import Line
from rfcal.record.files import slug
from rfcal.record.findings.components import part_words
from rfcal.record.findings.line.state import line_verdict
from rfcal.record.json_text import Told, chunks, once
from rfcal.record.results import (
    AfterBuilding,
    Check,
    Device,
    LineState,
    MatchResult,
    Part,
    Proposal,
    RereadCheck,
    Results,
    error_terms,
    fingerprint,
)
from rfcal.uncertainty import coverage
from rfcal.uncertainty.coverage import degrees_of_freedom
from rfcal.uncertainty.derived import Figure

UPPER = (slice(None), [0, 0, 1], [0, 1, 1])
"""What differs in symmetric matrices, shape (F, 2, 2)."""
OF_OTHER = ("impedance_ohm", "expanded_uncertainty_ohm", "interval_ohm", "derived")
"""What is said of a second answer."""
OF_YIELD = ("standard_uncertainty", "parts", "measurement")
"""What is said of a share of networks that hold a target."""


def results_json(results: Results) -> Iterator[bytes]:
    """The whole of the results as JSON, one top-level key a line, in pieces.

    Numbers end at the fifth digit of their uncertainty (`json_text.DIGITS`), sweeps without one at
    their own fifth, other numbers at their sixth, shares at the fourth decimal; frequencies are
    whole. What is the same at all frequencies is said once.
    """
    record = results.record
    data: dict[str, Any] = {
        "format": 1,
        "record": {
            "title": record.title,
            "date": record.date,
            "reference_ohm": record.reference_ohm,
            "fingerprint": fingerprint(results.files),
            "files": list(file_names(results).values()),
        },
        "inputs": inputs(results),
        "software": results.software,
        "findings": [vars(f) for f in results.findings],
        "calibration": _calibration(results),
        "checks": [_check(c) for c in results.checks],
        "measurements": [_answers(d) for d in results.devices],
    }
    asked = {
        "rereads": [_reread(m) for m in results.rereads],
        "components": [_part(p) for p in results.parts],
        "line_check": results.line and _line(results.line),
        "match": [_match(m) for m in results.matches],
    }
    data |= {key: told for key, told in asked.items() if told}
    rows = zip(chain("{", repeat(",")), data.items(), strict=False)
    lines = (chain([f'{start}\n"{key}": '], chunks(value)) for start, (key, value) in rows)
    return (part.encode() for part in chain(chain.from_iterable(lines), ["\n}\n"]))


def inputs(results: Results) -> list[dict[str, Any]]:
    """The files that went in, each once, with their fingerprints."""
    found = {
        sweep.origin.file: {
            "file": sweep.origin.file,
            "sha256": sweep.origin.sha256,
            "points": sweep.frequency.size,
            "first_hz": float(sweep.frequency[0]),
            "last_hz": float(sweep.frequency[-1]),
        }
        for sweep in results.sweeps
        if sweep.origin is not None
    }
    return list(found.values())


def _calibration(results: Results) -> dict[str, Any]:
    calibration, noise = results.calibration, results.record.analyzer["noise"]
    chi_square, freedom = calibration.chi_square()
    residuals = zip(calibration.names, calibration.residuals(), strict=True)
    return {
        "frequency_hz": calibration.frequency,
        # no term is known better than the noise of one reading
        **{name: Told(term, noise) for name, term in error_terms(calibration).items()},
        "residual": {name: once(Told(value, noise)) for name, value in residuals},
        "chi_square": Told(chi_square) if freedom else None,
        "degrees_of_freedom": freedom,
        "condition_number": once(Told(calibration.condition)),
    }


def _check(check: Check) -> dict[str, Any]:
    total = check.measured.covariance() + check.expected.covariance()
    half = coverage.K_AXIS * coverage.standard_uncertainty(total)
    return {
        **_own(check, "name", "agrees"),
        "frequency_hz": check.frequency,
        "measured": Told(check.measured.value, half),
        "expected": once(Told(check.expected.value, half)),
        "expanded_uncertainty": Told(half),
        "share_of_points_inside": float(check.inside.mean()),
    }


def _own(thing: Any, *names: str) -> dict[str, Any]:
    """Some of a thing's attributes, which are told by their own names."""
    return {name: getattr(thing, name) for name in names}


def _reread(reread: RereadCheck) -> dict[str, Any]:
    moved = reread.moved
    half = coverage.K_AXIS * coverage.standard_uncertainty(moved.change.covariance())
    return {
        "of": moved.of,
        "frequency_hz": moved.frequency,
        "change": Told(moved.change.value, half),
        "expanded_uncertainty": Told(half),
        "agrees": reread.agrees,
        "drift": once(Told(moved.drift(moved.frequency))),
    }


def _answers(device: Device) -> dict[str, Any]:
    """A device, and what else it may be where its display shows less than R and X."""
    if device.other is None:
        return _device(device)
    other = _device(device.other)
    told = {key: value for key, value in other.items() if key in OF_OTHER}
    two = device.frequency[device.two_answers]
    return {**_device(device), "other_answer": {"at_hz": two, **told}}


def _device(device: Device) -> dict[str, Any]:
    z = device.impedance
    covariance, spread = z.covariance(), device.reflection.covariance()
    half = device.expanded_uncertainty()
    bounded = np.isfinite(half)  # elsewhere a standard uncertainty would promise what is not there
    uncertain = np.where(bounded, coverage.standard_uncertainty(covariance), np.inf)
    correlation = np.where(bounded.all(axis=1), coverage.correlation(covariance), np.nan)
    freedom = degrees_of_freedom(device.reflection)
    loss = device.path_loss
    return {
        "name": device.name,
        "frequency_hz": device.frequency,
        "plane": device.plane,
        "answer_hz": float(device.frequency[device.answer]),
        "reflection": Told(device.reflection.value, coverage.standard_uncertainty(spread)),
        "reflection_covariance": Told(spread[UPPER]),
        "impedance_ohm": Told(z.value, uncertain),
        "standard_uncertainty_ohm": Told(uncertain),
        "correlation": Told(correlation, 1.0),
        "expanded_uncertainty_ohm": Told(half),
        "interval_ohm": Told(device.interval.reshape(-1, 4), np.repeat(half, 2, axis=1)),
        "coverage": coverage.COVERAGE,
        "path_loss": loss
        and {k: Told(v, loss.expanded_uncertainty_db) for k, v in vars(loss).items()},
        **_verdict(device),
        "degrees_of_freedom": once(freedom) if np.any(np.isfinite(freedom)) else None,
        "derived": _figures(device.figures),
        "budget": [
            {"source": source}
            | {f"share_{axis}": once(Told(of, 1.0)) for axis, of in zip("rx", share.T, strict=True)}
            for source, share in device.budget.items()
        ],
    }


def _verdict(device: Device) -> dict[str, Any]:
    """Which answer may be used where, and the 95 % regions that are not the covariance's own."""
    assessed = device.assessed
    assert assessed is not None  # the job asks for every measurement
    region = assessed.region
    bent = (region.centre != device.reflection.value) | (region.radius != coverage.K_ELLIPSE)
    covariance = region.covariance[bent]
    method = np.full(device.frequency.size, None, dtype=object)
    method[assessed.index] = np.where(assessed.linear.all(axis=1), "linear", "monte carlo")
    return {
        "method": once(method),
        "monte_carlo": {
            "frequency_hz": device.frequency[assessed.index],
            "draws": once(assessed.draws),
            "tolerance_ohm": Told(assessed.tolerance),
            "settled": once(assessed.settled),
        },
        "region": {
            "frequency_hz": device.frequency[bent],
            "centre": Told(region.centre[bent], coverage.standard_uncertainty(covariance)),
            "covariance": Told(covariance[UPPER]),
            "radius": Told(region.radius[bent]),
        },
    }


def _line(line: LineState) -> dict[str, Any]:
    now, found = line.now, line.properties
    columns = _own(now, "distance_m", "distance_uncertainty_m", "reflection", "kind", "fits")
    rows = zip(*columns.values(), strict=True)
    data: dict[str, Any] = {
        "state": line_verdict(line)[0],
        "events": [dict(zip(columns, row, strict=True)) for row in rows],
        **_against(line.comparison),
        "length_m": line.length_m or None,
        "resolution_m": now.band.resolution,
        "range_m": min(now.band.range, now.seen_m),
        "velocity_factor": now.velocity_factor,
        "lost_beside_stated": _lost(line.lost),
        "lost_since_far_end": _lost(line.since),
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
        "loss_db": Told(
            np.stack([line.frequency, loss], axis=-1),
            np.stack([np.zeros_like(of_loss), of_loss], axis=-1),
        ),
        "loss_uncertainty_db": Told(of_loss),
    }


def _against(comparison: Comparison | None) -> dict[str, Any]:
    """What changed since the baseline."""
    if comparison is None:
        return {"changes": None}
    return vars(comparison) | {
        "lost": _lost(comparison.lost),
        "weather": _lost(comparison.weather),
        "shift": comparison.shift and vars(comparison.shift),
        "changes": [
            {**vars(c), "before": np.array(c.before), "after": np.array(c.after)}
            for c in comparison.changes
        ],
    }


def _lost(lost: Lost | None) -> dict[str, Any] | None:
    """What a line loses more than it did, or than is stated, one way at a frequency."""
    if lost is None:
        return None
    told = _own(lost, "more_db", "at_hz", "length_m", "sure")
    return {**told, "standard_uncertainty_db": lost.uncertainty_db}


def _match(result: MatchResult) -> dict[str, Any]:
    request = result.request
    return {
        **_own(request, "measurement", "band_hz", "place", "section_q", "phase_deg"),
        **_own(result.ranking, "nothing_needed", "raw_worst_swr", "refused"),
        "frequency_hz": request.centre_hz,
        "raw_worst_swr_interval": list(result.raw_swr),
        "doubt": result.doubt or None,
        "networks": [_network(result, p) for p in result.proposals],
        "path_loss_db": result.path_db,
        "worst_swr_at_plane": result.plane_swr,
        "limit_swr": result.limit.swr if result.limit and result.limit.told else None,
        "trim": result.after and _after(result.after),
    }


def _after(after: AfterBuilding) -> dict[str, Any]:
    trimming, network = after.trimming, after.network
    return {
        **_own(trimming, "verdict", "message"),
        "topology": network.topology,
        "parts": [element.in_words() for element in network.elements],
    }


def _network(result: MatchResult, proposal: Proposal) -> dict[str, Any]:
    candidate, goal = proposal.candidate, result.goal
    made = proposal.production
    elements = zip(candidate.network.elements, candidate.ideal.elements, strict=True)
    centre = goal.centre_hz, goal.centre_load()
    seen = candidate.network.seen(*centre, z_ref=goal.target_ohm)
    return {
        "topology": candidate.network.topology,
        "parts": [
            {
                "role": f"{real.place} {real.name}",
                "ideal": float(ideal.value),
                "chosen": float(real.value),
                "unit": real.unit,
                "parallel_f": getattr(real.part, "parallel_f", None),
                "loss_db": float(candidate.losses_db[k]),
                "volts_peak": float(proposal.volt[k]),
                "amps_peak": float(proposal.ampere[k]),
                "line": real.line and _cable(real.line, goal.centre_hz),
            }
            for k, (real, ideal) in enumerate(elements)
        ],
        "swr_at_frequency": float(swr(seen)),
        "worst_swr_in_band": candidate.worst_swr,
        "share_of_limit": result.limit.reached(candidate.worst_swr)
        if result.limit and candidate.loss_db <= defaults.SMALL_LOSS_DB
        else None,
        "loss_db": candidate.loss_db,
        "delivered_db": -candidate.lost_db,
        "better_than_none": result.ranking.group(candidate) != Group.BELOW,
        "bandwidth_hz": {"1.5": candidate.at_1_5.width_hz, "2": candidate.at_2.width_hz},
        "yield": made.both,
        **{f"yield_{key}": told for key, told in _own(made, *OF_YIELD).items()},
        "adjustable": [candidate.network.elements[k].name for k in made.adjustable],
        "yield_adjusted": made.told[0],
        "volts_peak": proposal.highest_volt,
        "amps_peak": float(proposal.ampere.max(initial=0.0)),
    }


def _cable(line: Line, frequency: float) -> dict[str, float]:
    """What a piece of cable is, its loss at a frequency [Hz]."""
    return {
        "z0_ohm": line.z0,
        "velocity_factor": line.velocity_factor,
        "loss_db_per_100m": float(line.loss_db_per_100m(frequency)),
    }


def _part(part: Part) -> dict[str, Any]:
    """One part: its answer, its circuit and all that were tried, its equivalents."""
    verdict, chosen = part.verdict, part.verdict.chosen
    return {
        "measurement": part.request.measurement,
        "answer": part_words(part),
        "model": chosen and chosen.name,
        "as_well": list(verdict.rivals),
        "reason": verdict.reason or None,
        "method": part.request.method,
        "fixture_share": part.fixture and Told(part.fixture.share, 1.0),
        "temperature_c": part.request.temperature_c,
        "values": {
            key: {name: _one(getattr(figure, name)) for name in ("value", "low", "high")}
            for key, figure in _keyed(verdict.figures).items()
        },
        "models": [
            {"model": f.name, "chi_square": f.chi_square, "degrees_of_freedom": f.freedom}
            | {"criterion": f.criterion, "describes": f.describes}
            for f in verdict.fits
        ],
        "frequency_hz": verdict.sweep.frequency,
        "equivalents": _figures(part.equivalents),
    }


def _one(value: np.ndarray) -> float | None:
    """The number of a figure that is one."""
    return float(value[0]) if np.isfinite(value[0]) else None


def _figures(figures: Mapping[str, Figure]) -> dict[str, Any]:
    """Figures over frequency and their intervals, by name and unit."""
    return {key: _figure(figure) for key, figure in _keyed(figures).items()}


def _keyed(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    names = (f"{name}_{figure.unit.lower()}".rstrip("_") for name, figure in figures.items())
    return dict(zip(names, figures.values(), strict=True))


def _figure(figure: Figure) -> dict[str, Any]:
    """A figure and its interval, to the fifth digit of the larger side that is known."""
    ends = np.stack([figure.low, figure.high])
    with np.errstate(invalid="ignore"):  # both ends may be infinite: no side is known then
        sides = np.abs(ends - np.where(np.isfinite(figure.value), figure.value, ends[::-1]))
    wide = np.max(np.where(np.isfinite(sides), sides, 0), axis=0)
    wide = np.where(wide > 0, wide, np.inf)
    told = {name: Told(getattr(figure, name), wide) for name in ("value", "low", "high")}
    return {**told, "one_sided": once(figure.one_sided)}


def file_names(results: Results) -> dict[str, str]:
    """The Touchstone file of each measurement, no two the same."""
    names: dict[str, str] = {}
    for device in results.devices:
        tried = (
            f"{slug(device.name)}{more}.s1p" for more in chain([""], map("-{}".format, count(2)))
        )
        names[device.name] = next(one for one in tried if one not in names.values())
    return names
