"""Which single slip would make standards and checks agree: each tried, and told if it does."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.findings import grouped, quoted
from rfcal.maths.reflection import to_impedance
from rfcal.measurement.error_terms import Calibration, calibrate, implausible
from rfcal.readings.rows import Say
from rfcal.record.findings.case import AS_IT_IS, Case, Scene, contradict
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.slips import SELDOM, Decides, Slip, all_slips, suspected
from rfcal.record.results import Check
from rfcal.uncertainty.significance import few
from rfcal.uncertainty.words import complex_ohm

ZOOMS, STEPS = 4, 9
"""How often a slip's size is looked for more closely, and at how many sizes each time."""
PASSIVE = 1.05
"""Size [1] of what a standard would have to reflect above which it is no explanation: nothing that
is connected gives power, and standards are known better than this (common practice, no source)."""
MOST = 3
"""Artefacts and other causes that are told beside a slip; where more explain it, the likeliest."""
OF_ONE = say.BY_OHMMETER, say.BY_READING, say.BY_BUILD, say.BY_WRITING
"""What decides about one artefact, if it is said of one."""


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
        if slip.after & groups.keys():
            continue
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
    # else a check's own causes are said
    asked = bool(likely) or scenes[0].check is None
    return in_places(likely, _by_the_others(scenes, case.z_ref) if asked else [])


def in_places(likely: Sequence[tuple[str, Decides]], others: Sequence[tuple[str, str]]) -> str:
    """What explains it, and what would tell.

    All slips of one artefact alone take one place: the likeliest of it, and of what was written.
    """
    named = " ".join(said for said, _ in likely)
    places: dict[str, dict[bool, tuple[str, Decides]]] = {}
    for said, (way, names) in likely:
        place = places.setdefault(names[0] if way in OF_ONE and len(names) == 1 else said, {})
        place.setdefault(way == say.BY_WRITING, (said, (way, names)))
    for name, said in others:
        if f"'{name}'" not in named:
            places[name] = {False: (said, (say.BY_ANOTHER, ()))}
    each = [[*place.values()] for place in places.values()]
    if not each:
        return ""
    listed = each[:MOST] if likely else each
    told = [one for place in listed for one in place]
    which = say.NOTHING_TELLS if len(told) > 1 else ""
    if len(each) > len(listed):
        which = say.LIKELIEST.format(count=len(each))
    decided = _decided(decides for _, decides in told) if which else ""
    several = say.OR_IF.join(", or if ".join(said for said, _ in place) for place in listed)
    return say.SUSPECTS.format(several=several, left=which + decided)


def _by_the_others(scenes: Sequence[Scene], z_ref: float) -> list[tuple[str, str]]:
    """What each artefact would have to be by all others, the nearest to what is said of it first.

    None where others disagree without it, where it would have to give power, or behind a path.
    """
    solved, found = scenes[0].solved, list[tuple[float, str, str]]()
    known, seen = (
        {name: q for scene in scenes for name, q in getattr(scene, of).items()}
        for of in ("known", "seen")
    )
    same = [np.array_equal(scene.solved.frequency, solved.frequency) for scene in scenes]
    if not all(same) or any(scene.path for scene in scenes):
        return []
    for name in (*suspected(solved), *(known.keys() - solved.names)):
        rest = [other for other in known if other != name]
        try:
            others = calibrate(
                solved.frequency, rest, *([of[n] for n in rest] for of in (known, seen))
            )
        except CalibrationError:  # they fix nothing without it, so it cannot be what is wrong
            continue
        value = others.error_box.correct(seen[name].value)
        off = np.abs(value - known[name].value)
        at = int(np.argmax(off))
        if abs(value[at]) <= PASSIVE and not np.any(contradict(others)):
            impedance = complex(to_impedance(value[at], z_ref))
            ohm = complex_ohm(impedance, np.full(2, abs(impedance) / 50))
            said = say.WOULD_BE.format(name=name, ohm=ohm, mhz=solved.frequency[at] / 1e6)
            found.append((off[at], name, said))
    return [(name, said) for _, name, said in sorted(found)]


def _decided(each: Iterable[Decides]) -> str:
    """What would tell which of several slips it was."""
    by = grouped((way, name) for way, names in each for name in names or ("",))
    ways = [way.format(names=quoted([*dict.fromkeys(names)])) for way, names in by.items()]
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
