"""A measured line whose sweeps no uniform line would give."""

import numpy as np

from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.feedline.fit import FarEnds
from rfcal.feedline.measure import measure_line
from rfcal.findings import Finding
from rfcal.measurement.deembedding import LineBySweeps, Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import at_plane
from rfcal.record.findings.catalogue.devices import PATH_MISFIT
from rfcal.uncertainty.quantity import Quantity, both_axes

MOST_JUDGED = 801
"""Points at most by which a measured line is judged."""


def about_path(name: str, step: Step, calibration: Calibration, z_ref: float) -> list[Finding]:
    """Whether the sweeps of a line's open and short end are a line's, as far as they can tell.

    The calibration is that at the device's frequencies, the reference [ohm] the reflections'.
    """
    if not isinstance(step.element, LineBySweeps):
        return []
    # in a row, so that no turn is lost between them
    few = slice(MOST_JUDGED)
    ends = {}
    for far, pair in zip((1.0, -1.0), step.readings, strict=True):
        end = at_plane(calibration, *pair)
        doubt = both_axes("all", np.sqrt(end.variance()[few]), per_point=True)
        ends[far] = Quantity(end.value[few], doubt)
    why = ""
    try:  # the delay is all the same to the judgement, so the velocity factor is too
        fit = measure_line(FarEnds(calibration.frequency[few], ends, z_ref), velocity_factor=1.0)
        if not fit.fits:
            why = (
                f"the sweeps of its open and short end are off those of a uniform line by "
                f"{fit.residual:.2g} where {fit.expected_residual:.2g} was to be expected"
            )
    except NotThisLineError as error:
        why = str(error)
    except CalibrationError:
        return []  # too narrow a band, or steps too wide, to tell
    return [PATH_MISFIT(element=name, why=why)] if why else []
