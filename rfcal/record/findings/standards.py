"""Standards that are badly spread, or that contradict an analyzer's nature or each other."""

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.measurement.error_terms import Calibration
from rfcal.record.findings.catalogue import ERROR_TERMS, STANDARDS_CLOSE, STANDARDS_DISAGREE
from rfcal.uncertainty.significance import too_many

PLAUSIBLE = {"directivity": 0.7, "source match": 0.8, "reflection tracking": 2.0}
"""Sizes of error terms beyond which they are no analyzer's (common practice, no source)."""
CONDITION_WARNING = 30.0
"""Condition number of the standards above which the answer leans on tiny differences."""
DISAGREE_PROBABILITY = 1e-3
"""Chance below which the residuals of more than three standards are called a disagreement."""


def contradict(calibration: Calibration) -> np.ndarray:
    """The points where the standards contradict each other; none where chance explains them."""
    bad = calibration.disagrees(DISAGREE_PROBABILITY)
    return bad & too_many(bad, DISAGREE_PROBABILITY)


def about_standards(calibration: Calibration) -> list[Finding]:
    """What there is to say about the standards and the error terms."""
    frequency, found = calibration.frequency, []
    poor = calibration.condition > CONDITION_WARNING
    if np.any(poor):
        worst = np.max(calibration.condition)
        found.append(STANDARDS_CLOSE(where=span_mhz(frequency, poor), condition=worst))
    box = calibration.error_box
    terms = (box.directivity, box.source_match, box.reflection_tracking)
    for (name, limit), term in zip(PLAUSIBLE.items(), terms, strict=True):
        beyond, size = np.abs(term) > limit, np.max(np.abs(term))
        if np.any(beyond):
            found.append(ERROR_TERMS(term=name, size=size, where=span_mhz(frequency, beyond)))
    bad = contradict(calibration)
    if np.any(bad):
        chi_square, freedom = calibration.chi_square()
        largest = np.argmax(np.mean(np.abs(calibration.residuals()) ** 2, axis=1))
        found.append(
            STANDARDS_DISAGREE(
                where=span_mhz(frequency, bad),
                chi_square=np.max(chi_square),
                freedom=freedom,
                worst=calibration.names[largest],
            )
        )
    return found
