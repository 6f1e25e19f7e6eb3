"""The same readings, if something in the record were otherwise."""

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from rfcal.errors import RecordError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex
from rfcal.models.standards import Standard
from rfcal.record.format.schema import FILE
from rfcal.record.job.compute import compute
from rfcal.record.results import Results


def corrected_with(
    results: Results,
    name: str,
    *,
    load_ohm: float = 0.0,
    open_farad: float = 0.0,
    short_henry: float = 0.0,
) -> Complex:
    """Reflection of a device if the standards were off what the record says.

    Parameters
    ----------
    results : Results
        A computed record.
    name : str
        Name of the measurement.
    load_ohm : float
        Added to the resistance of every load [ohm].
    open_farad : float
        Added to the capacitance of every open [F].
    short_henry : float
        Added to the inductance of every short [H].

    Returns
    -------
    ndarray, shape (F,)
        Corrected reflection coefficient [1].
    """
    device = results.device(name)
    calibration = device.inputs.calibration
    known = []
    for item, quantity in zip(results.record.standards, calibration.known, strict=True):
        value = quantity.value
        if item.model is not None:
            moved = _moved(item.model, load_ohm, open_farad, short_henry)
            value = moved.reflection(device.frequency, z_ref=device.z_ref)
        known.append(value)
    seen = [quantity.value for quantity in calibration.seen]
    box = Bilinear.fit(known, seen, calibration.weight)
    return box.correct(device.inputs.reading.value)


def _moved(model: Standard, ohm: float, farad: float, henry: float) -> Standard:
    if model.kind == "load":
        return replace(model, resistance=model.resistance + ohm)
    if model.kind == "open":
        constant, *rest = model.capacitance
        return replace(model, capacitance=(constant + farad, *rest))
    constant, *rest = model.inductance
    return replace(model, inductance=(constant + henry, *rest))


def computed_with(folder: str | Path, old: str, new: str) -> Results:
    """A record computed with one piece of its text replaced; the record itself stays as it is.

    Parameters
    ----------
    folder : str or Path
        The record's folder.
    old, new : str
        The piece of ``record.toml``, and what shall stand there instead.

    Returns
    -------
    Results
        The results.

    Raises
    ------
    RecordError
        The piece is not there.
    """
    with tempfile.TemporaryDirectory() as spare:
        copy = Path(spare) / "record"
        shutil.copytree(folder, copy)
        text = (copy / FILE).read_text(encoding="utf-8")
        if old not in text:
            raise RecordError(FILE, "", f"'{old}' does not stand in it, so it cannot be replaced")
        (copy / FILE).write_text(text.replace(old, new, 1), encoding="utf-8")
        return compute(copy)
