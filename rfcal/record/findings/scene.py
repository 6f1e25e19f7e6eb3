"""Standards and checks as they were read, and as they would be by a slip of one kind and size."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import Step, seen_beyond
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import propagate, region
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.turns import as_expected
from rfcal.record.results import Check
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import unlikely

KIND = "kind"
"""Slips of this group, and those of a size, are chosen of many."""


def contradict(calibration: Calibration, chance: float = defaults.FALSE_ALARM) -> np.ndarray:
    """The points where the standards contradict each other; none where chance explains them."""
    return unlikely(calibration.disagrees, chance)


@dataclass(frozen=True, eq=False)
class Scene:
    """The standards, and a check that was corrected with them; the standards alone without one."""

    solved: Calibration  # from the standards as they were read
    known: Mapping[str, Quantity]  # what each of all these is [1]
    seen: Mapping[str, Quantity]  # and what was read of it
    check: Check | None = None
    path: tuple[Step, ...] = ()  # before the check

    @classmethod
    def of(cls, solved: Calibration, check: Check | None = None) -> "Scene":
        """As all of it was read."""
        known, seen = (
            dict(zip(solved.names, values, strict=True)) for values in (solved.known, solved.seen)
        )
        if check is None:
            return cls(solved, known, seen)
        name = check.name
        known |= {name: check.expected}
        return cls(solved, known, seen | {name: check.inputs.reading}, check, check.inputs.path)

    def other(
        self,
        which: Literal["known", "seen"],
        names: Sequence[str],
        change: Callable[..., Complex | tuple[Complex, ...]],
    ) -> "Scene":
        """With what a change makes of the values of some artefacts, if they are all here."""
        old = getattr(self, which)
        if not set(names) <= old.keys():
            return self
        made = change(*(old[name].value for name in names))
        values = made if isinstance(made, tuple) else (made,)
        new = {n: replace(old[n], value=v) for n, v in zip(names, values, strict=True)}
        return replace(self, **{which: old | new})

    @cached_property
    def calibration(self) -> Calibration:
        """Solved from the standards as they are here."""
        old = self.solved
        known, seen = (tuple(of[name] for name in old.names) for of in (self.known, self.seen))
        if known == old.known and seen == old.seen:
            return old
        return replace(old, seen=seen).with_known(known)

    @cached_property
    def off(self) -> Real:
        """Squared distances from agreement, those of two normal variables each [1].

        A check's own region is taken about where it would be, which is quick.
        """
        found, check = self.calibration, self.check
        if check is None:
            total, freedom = found.chi_square()
            return 2 * total / max(freedom, 1)
        at_plane = found.error_box.correct(self.seen[check.name].value)
        x = seen_beyond(at_plane, found.error_box, self.path)
        return replace(check.region, centre=x).squared_distance(self.known[check.name])

    def agrees(self, chance: float) -> bool:
        """Whether no more is off than chance explains, by the region that it would have."""
        check = self.check
        if check is None:
            return not np.any(contradict(self.calibration, chance))
        reading, expected = self.seen[check.name], self.known[check.name]
        inputs = replace(
            check.inputs, calibration=self.calibration, reading=reading, path=self.path
        )
        with np.errstate(all="ignore"):
            measured = propagate(inputs)
            return as_expected(inputs, measured, region(inputs, measured), expected, chance)


Change = Callable[[Scene, float], Scene]
Decides = tuple[str, tuple[str, ...]]
"""What would tell of a slip, and the names that this is said of."""


@dataclass(frozen=True, eq=False)
class Slip:
    """One thing that may have been otherwise, of a size that is looked for."""

    said: Callable[..., str]  # by its size
    change: Change
    sizes: Real | tuple[float, ...] = (1.0,)  # [1], from where the search starts
    seldom: float = 0.0  # added to its misfit: what is met less often must fit better
    unit: float = 1.0  # of the size that is said
    factor: bool = False  # whether the sizes are factors, of which those near 1 are likelier
    group: str = ""  # of those of one group the likeliest is told
    against: bool = False  # whether a second reading speaks against it
    decides: Decides = (say.BY_ANOTHER, ())

    @property
    def fitted(self) -> bool:
        """Whether it was chosen of many, so that it explains by chance what others do at once."""
        return len(self.sizes) > 1 or self.group == KIND

    def moved(self, scenes: Sequence[Scene], size: float) -> list[Scene]:
        """The scenes as they would be; none where nothing can be solved then."""
        try:
            with np.errstate(all="ignore"):
                moved = [self.change(scene, size) for scene in scenes]
                return moved if all(np.all(np.isfinite(scene.off)) for scene in moved) else []
        except CalibrationError:
            return []
