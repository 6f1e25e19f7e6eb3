"""Which single slip would make standards and checks agree: each tried, and told if it does."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from rfcal.findings import quoted
from rfcal.measurement.error_terms import Calibration, implausible
from rfcal.readings.rows import Say
from rfcal.record.findings.case import Case, Scene, contradict
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.slips import SELDOM, Decides, Slip, all_slips
from rfcal.record.results import Check
from rfcal.uncertainty.significance import few

ZOOMS, STEPS = 4, 9
"""How often a slip's size is looked for more closely, and at how many sizes each time."""
AS_IT_IS = 0.03
"""A raw reading [1] so near what an artefact is was corrected already (common practice, no
source)."""
MOST = 3
"""Slips that are told; where more explain a contradiction, the likeliest."""


def explained(case: Case, tell: Say) -> str:
    """The slips that would make everything agree, the likeliest first, in a sentence; none if none.

    None against a second reading, or that leaves error terms that no analyzer has, where another is
    neither. What is chosen of many sizes explains more by chance, so it comes later.
    """
    calibration, checks, chance = case.calibration, case.checks, case.chance
    if all(check.agrees for check in checks) and not np.any(contradict(calibration, chance)):
        return ""
    scenes = _scenes(calibration, checks)
    odd = bool(implausible(calibration.error_box))
    corrected = {say.SUSPECT_CORRECTED.format(name=c.name): c for c in checks if _corrected(c)}
    as_read = {id(scene): scene.agrees(chance) for scene in scenes}  # many a slip leaves most so
    groups: dict[str, tuple[bool, bool, float, str, Decides]] = {
        said: (odd, False, 0.0, said, (say.BY_READING, (check.name,)))
        for said, check in corrected.items()
    }
    for tried, slip in enumerate(all_slips(case, scenes), 1):
        tell(f"why standards or checks disagree: slip {tried:,} is tried")
        off, size, moved = _best(slip, scenes)
        left = [as_read.get(id(scene)) for scene in moved]
        changed = [scene for scene in moved if id(scene) not in as_read]
        if moved and False not in left and all(scene.agrees(chance) for scene in changed):
            said = slip.said(size=abs(slip.unit * size))
            odd = slip.against or any(implausible(scene.calibration.error_box) for scene in moved)
            this = (odd, slip.fitted, off + slip.seldom, said, slip.decides)
            group = slip.group or said
            groups[group] = min(this, groups.get(group, this))
    told = sorted(groups.values())
    likely = [(said, decides) for odd, _, _, said, decides in told if odd == told[0][0]]
    if not likely:
        return ""
    which = say.NOTHING_TELLS if len(likely) > 1 else ""
    if len(likely) > MOST:
        which = say.LIKELIEST.format(count=len(likely))
    suspected = [said for said, _ in likely[:MOST]]
    decided = _decided(decides for _, decides in likely[:MOST]) if which else ""
    return say.SUSPECTS.format(several=say.OR_IF.join(suspected), left=which + decided)


def _decided(each: Iterable[Decides]) -> str:
    """What would tell which of several slips it was."""
    by: dict[str, list[str]] = {}
    for way, names in each:
        by[way] = [*dict.fromkeys((*by.get(way, []), *names))]
    ways = [way.format(names=quoted(names)) for way, names in by.items()]
    return say.DECIDE.format(how=", or ".join(ways))


def _corrected(check: Check) -> bool:
    """Whether a raw reading is what the artefact is, by an analyzer that makes more of it."""
    if check.inputs.path or check.agrees:
        return False
    true = check.expected.value
    made = np.abs(check.inputs.calibration.error_box.apply(true) - true)
    return bool(np.max(np.abs(check.inputs.reading.value - true)) < AS_IT_IS < np.mean(made))


def _scenes(calibration: Calibration, checks: Sequence[Check]) -> list[Scene]:
    scenes = [Scene.of(calibration.at_points(few(calibration.frequency)))]
    if len(calibration.names) == 3:
        scenes = []
    for check in checks:
        index = few(check.frequency)
        inputs, expected = check.inputs.at(index), check.expected.at_points(index)
        at = replace(check, region=check.region.at(index), expected=expected, inputs=inputs)
        at = replace(at, frequency=check.frequency[index])
        scenes.append(Scene.of(inputs.calibration, at))
    return scenes


def _best(slip: Slip, scenes: Sequence[Scene]) -> tuple[float, float, list[Scene]]:
    """The misfit of the size that fits best, that size, and the scenes as they would be."""
    sizes, best = np.asarray(slip.sizes), (np.inf, 0.0, list[Scene]())
    for _ in range(ZOOMS if sizes.size > 1 else 1):
        for size in sizes:
            moved = slip.moved(scenes, float(size))
            off = sum(float(np.log1p(np.mean(scene.off))) for scene in moved)
            off += SELDOM * abs(np.log(size)) if slip.factor else 0.0
            if moved and off < best[0]:
                best = (off, float(size), moved)
        at = int(np.argmin(np.abs(sizes - best[1])))
        sizes = np.linspace(sizes[max(at - 1, 0)], sizes[min(at + 1, sizes.size - 1)], STEPS)
    return best
