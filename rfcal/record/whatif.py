"""The same readings corrected with standards that are otherwise than the record says."""

from dataclasses import replace
from typing import Any

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex
from rfcal.models.standards import KINDS
from rfcal.record.results import Results


def corrected_with(
    results: Results,
    name: str,
    *,
    load_resistance: float | None = None,
    open_capacitance: float | None = None,
    short_inductance: float | None = None,
) -> Complex:
    """Reflection of a device if the standards had other values.

    Parameters
    ----------
    results : Results
        A computed record, whose device was read at the standards' frequencies.
    name : str
        Name of the measurement.
    load_resistance : float, optional
        Resistance of every load [ohm]; as in the record by default.
    open_capacitance : float, optional
        Constant capacitance of every open [F]; as in the record by default.
    short_inductance : float, optional
        Constant inductance of every short [H]; as in the record by default.

    Returns
    -------
    ndarray, shape (F,)
        Corrected reflection coefficient [1].
    """
    changes: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    if load_resistance is not None:
        changes["load"] = {"resistance": load_resistance}
    if open_capacitance is not None:
        changes["open"] = {"capacitance": (open_capacitance,)}
    if short_inductance is not None:
        changes["short"] = {"inductance": (short_inductance,)}
    device = results.device(name)
    calibration = device.inputs.calibration
    known = []
    for item, quantity in zip(results.record.standards, calibration.known, strict=True):
        if item.model is None:
            known.append(quantity.value)
        else:
            model = replace(item.model, **changes[item.model.kind])
            known.append(model.reflection(device.frequency, z_ref=device.z_ref))
    seen = [quantity.value for quantity in calibration.seen]
    box = Bilinear.fit(known, seen, calibration.weight)
    return box.correct(device.inputs.reading.value)
