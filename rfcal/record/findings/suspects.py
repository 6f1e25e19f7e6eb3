"""Which single slip would make standards and checks agree: each tried, and told if it does."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.findings import grouped, quoted
from rfcal.maths.reflection import renormalise, to_impedance
from rfcal.measurement.error_terms import implausible, solve
from rfcal.models.interpolation import points_of
from rfcal.readings.rows import Say
from rfcal.record.findings.case import AS_IT_IS, Case, Scene, contradict
from rfcal.record.findings.catalogue import slips as say
from rfcal.record.findings.catalogue.slips import SlipKind
from rfcal.record.findings.slips import SELDOM, Repeated, Slip, all_slips, suspected
from rfcal.record.results import Check
from rfcal.uncertainty.quantity import Quantity
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


Suspicion = tuple[str, str, tuple[str, ...]]
"""What is said of a slip, what would tell of it, and the names that this is said of."""
Rank = tuple[bool, bool, float, int, str]
"""Whether a slip leaves what cannot be, whether it was fitted, its misfit, its number, in words."""


def explained(case: Case, tell: Say) -> Case:
    """With the slips that would make everything agree, the likeliest first, in a sentence.

    None against a second reading, or that leaves error terms that no analyzer has, where another is
    neither. What is chosen of many sizes explains more by chance, so it comes later.
    """
    calibration, checks = case.calibration, case.checks
    differ = bool(np.any(contradict(calibration, case.chance)))
    differ |= not all(check.agrees for check in checks)
    impossible = bool(implausible(calibration.error_box))
    if not differ and not impossible:
        return case
    scenes = _scenes(case)
    corrected = [check.name for check in checks if _corrected(check)]
    found: dict[tuple[SlipKind, tuple[str, ...]], Rank] = {
        (kind, (name,)): (impossible, False, 0.0, 0, kind.said([name]))
        for kind, name in product([say.CORRECTED], corrected)
    }
    for slip, rank in _explaining(case, scenes, tell, fitted=differ):
        one = slip.kind, slip.names
        if not any((kind, slip.names) in found for kind in slip.after):
            found[one] = min(rank, found.get(one, rank))
    told = sorted(found.items(), key=lambda one: one[1])
    told = [one for one in told if one[1][0] == told[0][1][0]]
    alike = (rank for (kind, _), rank in told if kind is told[0][0][0])
    mends = [said for odd, fitted, *_, said in alike if impossible and not odd and not fitted]
    likely = [(rank[-1], kind.tells, names) for (kind, names), rank in told if differ]
    # else a check's own causes are said
    asked = bool(likely) or (differ and scenes[0].check is None)
    why = in_places(likely, _by_the_others(scenes, case.z_ref) if asked else [])
    if impossible and checks and not (mends or why):  # the error terms by themselves
        return replace(case, mends=explained(replace(case, checks=()), tell).mends)
    return replace(case, why=why, mends=mends[:MOST])


def _explaining(
    case: Case, scenes: Sequence[Scene], tell: Say, *, fitted: bool
) -> Iterator[tuple[Slip, Rank]]:
    """The slips that leave everything in agreement, of one size or also `fitted`."""
    as_read = {id(scene): scene.agrees(case.chance) for scene in scenes}
    repeated = cache(Scene.repeated)
    for tried, slip in enumerate(all_slips(case, scenes), 1):
        tell(f"why standards or checks disagree: slip {tried:,} is tried")
        if slip.fitted and not fitted:
            continue
        off, size, moved = _best(slip, scenes, repeated)
        left = [as_read.get(id(scene)) for scene in moved]  # many a slip leaves most so
        changed = [scene for scene in moved if id(scene) not in as_read]
        if moved and False not in left and all(scene.agrees(case.chance) for scene in changed):
            again = slip.kind is say.EXCHANGED and set(slip.names) & {*case.stayed}
            odd = bool(again) or any(implausible(s.calibration.error_box) for s in moved)
            yield slip, (odd, slip.fitted, round(off, 6), tried, slip.said(size))


def in_places(likely: Sequence[Suspicion], others: Sequence[Suspicion]) -> str:
    """What explains it, and what would tell.

    All slips of one artefact alone take one place: the likeliest of it, and of what was written.
    Of the others those are told that are not named.
    """
    named = " ".join(said for said, *_ in likely)
    places: dict[str, dict[bool, Suspicion]] = {}
    for one in (*likely, *(one for one in others if f"'{one[-1][0]}'" not in named)):
        said, tells, names = one
        place = places.setdefault(names[0] if tells in OF_ONE and len(names) == 1 else said, {})
        place.setdefault(tells == say.BY_WRITING, one)
    if not places:
        return ""
    each = [[*place.values()] for place in places.values()]
    listed = each[: MOST if likely else None]
    told = [one for place in listed for one in place]
    left = say.NOTHING_TELLS if len(told) > 1 else ""
    if len(each) > len(listed):
        left = say.LIKELIEST.format(count=len(each))
    if left:
        by = grouped((tells, name) for _, tells, names in told for name in names or ("",))
        ways = [way.format(names=quoted(names)) for way, names in by.items()]
        left += say.DECIDE.format(how=", or ".join(ways))
    several = say.OR_IF.join(", or if ".join(said for said, *_ in place) for place in listed)
    return say.SUSPECTS.format(several=several, left=left)


def _by_the_others(scenes: Sequence[Scene], z_ref: float) -> list[Suspicion]:
    """What each artefact would have to be by all others, the nearest to what is said of it first.

    None where others disagree without it, where it would have to give power, or behind a path.
    """
    solved, found = scenes[0].solved, list[tuple[float, Suspicion]]()
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
            others = solve(solved.frequency, rest, *([of[n] for n in rest] for of in (known, seen)))
        except CalibrationError:  # they fix nothing without it, so it cannot be what is wrong
            continue
        value = others.error_box.correct(seen[name].value)
        off = np.abs(value - known[name].value)
        at = int(np.argmax(off))
        if abs(value[at]) <= PASSIVE and not np.any(contradict(others)):
            impedance = complex(to_impedance(value[at], z_ref))
            ohm = complex_ohm(impedance, np.full(2, abs(impedance) / 50))
            other = say.OTHER
            said = other.said([name], ohm=ohm, mhz=solved.frequency[at] / 1e6)
            found.append((float(off[at]), (said, other.tells, (name,))))
    return [told for _, told in sorted(found)]


def _corrected(check: Check) -> bool:
    """Whether a raw reading is what the artefact is, by an analyzer that makes more of it."""
    if check.inputs.path or check.agrees:
        return False
    true = check.expected.value
    made = np.abs(check.inputs.calibration.error_box.apply(true) - true)
    return bool(np.max(np.abs(check.inputs.reading.value - true)) < AS_IT_IS < np.mean(made))


def _scenes(case: Case) -> list[Scene]:
    """The standards where they could disagree, and each check, with what was read of devices."""
    calibration, scenes = case.calibration, list[Scene]()
    if len(calibration.names) > 3 or not case.checks:
        scenes.append(Scene.of(calibration.at_points(few(calibration.frequency))))
    for check in case.checks:
        index = few(check.frequency)
        inputs, expected = check.inputs.at(index), check.expected.at_points(index)
        at = replace(check, region=check.region.at(index), expected=expected, inputs=inputs)
        at = replace(at, frequency=check.frequency[index])
        scenes.append(Scene.of(inputs.calibration, at))
    return [replace(one, seen={**_of_devices(case, one), **one.seen}) for one in scenes]


def _of_devices(case: Case, scene: Scene) -> dict[str, Quantity]:
    """What was read of devices at the frequencies of a scene."""
    read, found = [case.read[name] for name in case.devices], dict[str, Quantity]()
    for sweep in read:
        index = points_of(scene.solved.frequency, sweep.frequency)
        if index is not None:
            x = renormalise(sweep.reflection[index], sweep.z_ref, case.z_ref)
            found[sweep.label] = Quantity(x, ())
    return found


def _best(
    slip: Slip, scenes: Sequence[Scene], repeated: Repeated
) -> tuple[float, float, list[Scene]]:
    """The misfit of the size that fits best, that size, and the scenes as they would be.

    What is met more seldom must fit better, as what was read after the standards.
    """
    later = slip.kind.tells != say.BY_TAPE and not set(slip.names) <= set(scenes[0].solved.names)
    sizes, best = np.asarray(slip.sizes), (np.inf, 0.0)
    for _ in range(1 if isinstance(slip.sizes, tuple) else ZOOMS):
        off = slip.misfits(scenes, sizes, repeated) + SELDOM * (slip.kind.seldom + later)
        off += SELDOM * np.abs(np.log(sizes / slip.stated)) if slip.stated else 0.0
        at = int(np.argmin(off))
        best = min(best, (float(off[at]), float(sizes[at])))
        at = int(np.argmin(np.abs(sizes - best[1])))
        sizes = np.linspace(sizes[max(at - 1, 0)], sizes[min(at + 1, sizes.size - 1)], STEPS)
    return *best, slip.moved(scenes, best[1]) if best[0] < np.inf else []
