"""Standards, and the checks that were corrected by them: all that they are judged by together."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from rfcal import defaults
from rfcal.measurement.error_terms import Calibration
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.meant import Meanings
from rfcal.record.results import Check


@dataclass(frozen=True, eq=False)
class Case:
    """What was read and corrected, and what is known of it besides."""

    calibration: Calibration
    checks: Sequence[Check] = ()
    z_ref: float = defaults.REFERENCE_OHM  # of the calibration [ohm]
    own_ohm: float | None = None  # of the standards' readings, where they had another [ohm]
    solved: bool = True  # else by an instrument that corrects itself, with no standards to mix up
    chance: float = defaults.FALSE_ALARM  # of a false alarm of each test [1]
    stayed: Collection[str] = ()  # what was read again, where nothing of that has moved
    meant: Mapping[str, Meanings] = field(default_factory=dict)  # what readings may mean else
    read: Mapping[str, Sweep] = field(default_factory=dict)  # all that was read
    devices: Collection[str] = ()  # of that, those whose displays show all
    why: str = ""  # what would explain that all this contradicts itself, where one thing does
