"""Which single slip would make standards and checks agree: each tried, with what it would be."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.deembedding import Cable, Step, seen_beyond
from rfcal.measurement.error_terms import Calibration
from rfcal.models.cables import CABLES
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings import catalogue as say
from rfcal.record.findings.standards import contradict
from rfcal.record.results import Check
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import far_off

POINTS = 48
"""Frequencies at most at which slips are tried."""
ZOOMS, STEPS = 4, 9
"""How often a slip's size is looked for more closely, and at how many sizes each time."""
FAR = 0.5
"""Nearer to an open than this [1] something in series changes nothing to speak of, nearer to a
short than this it is no value, nearer to a match than this a length turns nothing."""
LENGTH, LOSS = 0, 3
"""Which of a cable's inputs these are."""
AS_IT_IS = 0.03
"""A raw reading [1] so near what an artefact is was corrected already (common practice, no
source)."""
SLOWEST = 0.5
"""Least velocity factor that a line has [1] (common practice, no source)."""
NEARLY = 0.04
"""A length so near [1, relative] to one in feet is one."""
MOST = 3
"""Slips that are told; where more explain a contradiction, the likeliest."""
SELDOM = 0.3
"""Added to the misfit of what is met less often than exchanged files and wrong values (common
practice, no source)."""
FOOT = 0.3048
"""Metres of a foot, exact by definition."""
SERIES_OHM = np.geomspace(0.5, 100.0, 25)
BOTH_OHM = 4 * np.concatenate([-SERIES_OHM[::-1], SERIES_OHM])
OUT_M = np.concatenate([-np.geomspace(0.1, 0.002, 15), np.geomspace(0.002, 0.1, 15)])
TIMES = np.geomspace(0.15, 5.0, 301)
"""Sizes of slips from which the search starts: ohm, metres in air, parts of what is stated."""


@dataclass(frozen=True, eq=False)
class Scene:
    """The standards, and what was corrected with them; the standards alone without a check."""

    calibration: Calibration
    check: Check | None
    reading: Complex | None = None
    expected: Quantity | None = None
    path: tuple[Step, ...] = ()
    turned: Complex | float = 1.0  # how far everything later is turned at the plane

    def off(self) -> Real:
        """Squared distances from agreement, those of two normal variables each [1]."""
        found = self.calibration
        if self.check is None:
            total, freedom = found.chi_square()
            return 2 * total / max(freedom, 1)
        assert self.reading is not None
        assert self.expected is not None
        at_plane = found.error_box.correct(self.reading) / self.turned
        x = seen_beyond(at_plane, found.error_box, self.path)
        return replace(self.check.region, centre=x).squared_distance(self.expected)

    def agrees(self, chance: float) -> bool:
        """Whether no more is off than chance explains."""
        if self.check is None:
            return not np.any(contradict(self.calibration, chance))
        return not far_off(self.off(), chance)


Change = Callable[[Scene, float], Scene]


@dataclass(frozen=True, eq=False)
class Slip:
    """One thing that may have been otherwise, of a size that is looked for."""

    said: Callable[[float], str]
    change: Change
    sizes: Real  # [1], from where the search starts
    seldom: float = 0.0  # added to its misfit: what is met less often must fit better
    factor: bool = False  # whether the sizes are factors, of which those near 1 are likelier


def suspects(
    calibration: Calibration,
    checks: Sequence[Check],
    *,
    chance: float,
    z_ref: float,
    still: bool = False,
) -> list[str]:
    """The slips that would make everything agree, in words, the likeliest first.

    The chance [1] is that of each test's false alarm; `still` says that what was read again has not
    moved.
    """
    scenes = _scenes(calibration, checks)
    found = [(0.0, say.SUSPECT_CORRECTED.format(name=c.name)) for c in checks if _corrected(c)]
    for slip in _slips(scenes, z_ref, still):
        off, size, moved = _best(slip, scenes)
        if moved and all(scene.agrees(chance) for scene in moved):
            found.append((off + slip.seldom, slip.said(size)))
    return list(dict.fromkeys(said for _, said in sorted(found)))


def _corrected(check: Check) -> bool:
    """Whether a raw reading is what the artefact is, by an analyzer that makes more of it."""
    if check.path or check.agrees:
        return False
    true = check.expected.value
    made = np.abs(check.calibration.error_box.apply(true) - true)
    return bool(np.max(np.abs(check.reading - true)) < AS_IT_IS < np.mean(made))


def explained(
    calibration: Calibration,
    checks: Sequence[Check],
    *,
    chance: float,
    z_ref: float,
    still: bool,
) -> str:
    """Which slips would explain a contradiction, in a sentence; nothing where there is none.

    As `suspects`, asked only where standards or checks do not agree.
    """
    if all(check.agrees for check in checks) and not np.any(contradict(calibration, chance)):
        return ""
    suspected = suspects(calibration, checks, chance=chance, z_ref=z_ref, still=still)
    if not suspected:
        return ""
    left = say.NOTHING_TELLS if len(suspected) > 1 else ""
    if len(suspected) > MOST:
        left = say.LIKELIEST.format(count=len(suspected))
    return say.SUSPECTS.format(several=say.OR_IF.join(suspected[:MOST]), left=left)


def _scenes(calibration: Calibration, checks: Sequence[Check]) -> list[Scene]:
    scenes = [Scene(calibration.at_points(_few(calibration.frequency)), None)]
    if len(calibration.names) == 3:
        scenes = []
    for check in checks:
        few = _few(check.frequency)
        at = replace(check, region=check.region.at(few), frequency=check.frequency[few])
        scenes.append(
            Scene(
                check.calibration.at_points(few),
                at,
                check.reading[few],
                check.expected.at_points(few),
                tuple(step.at_points(few) for step in check.path),
            )
        )
    return scenes


def _few(frequency: Real) -> np.ndarray:
    count = min(POINTS, frequency.size)
    return np.unique(np.linspace(0, frequency.size - 1, count).round().astype(int))


def _best(slip: Slip, scenes: Sequence[Scene]) -> tuple[float, float, list[Scene]]:
    """The misfit of the size that fits best, that size, and the scenes as they would be."""
    sizes, best = slip.sizes, (np.inf, 0.0, list[Scene]())
    for _ in range(ZOOMS if sizes.size > 1 else 1):
        for size in sizes:
            moved = _moved(slip, scenes, float(size))
            off = sum(float(np.log1p(np.mean(scene.off()))) for scene in moved)
            off += SELDOM * abs(np.log(size)) if slip.factor else 0.0
            if moved and off < best[0]:
                best = (off, float(size), moved)
        at = int(np.argmin(np.abs(sizes - best[1])))
        sizes = np.linspace(sizes[max(at - 1, 0)], sizes[min(at + 1, sizes.size - 1)], STEPS)
    return best


def _moved(slip: Slip, scenes: Sequence[Scene], size: float) -> list[Scene]:
    """The scenes as they would be; none where nothing can be solved then."""
    try:
        with np.errstate(all="ignore"):
            moved = [slip.change(scene, size) for scene in scenes]
            return moved if all(np.all(np.isfinite(scene.off())) for scene in moved) else []
    except CalibrationError:
        return []


def _solved(scene: Scene, values: Sequence[Complex]) -> Scene:
    """With other values of what the standards are [1]."""
    old = scene.calibration
    known = tuple(replace(q, value=v) for q, v in zip(old.known, values, strict=True))
    box = Bilinear.fit(values, [q.value for q in old.seen], old.weight)
    return replace(scene, calibration=replace(old, known=known, error_box=box))


def _slips(scenes: Sequence[Scene], z_ref: float, still: bool) -> Iterator[Slip]:
    """All that is tried, the likelier ones first."""
    first = scenes[0].calibration
    for one, other in combinations(first.names, 2):
        said = say.SUSPECT_EXCHANGED.format(one=one, other=other)
        yield _single(said, partial(_exchanged, one, other))
    for name, known in zip(first.names, first.known, strict=True):
        yield from _of_standard(name, known.value, z_ref)
    checks = [scene.check for scene in scenes if scene.check is not None]
    for check in checks:
        ohm = _ohm(check.expected.value, z_ref)
        change = partial(_other_check, check.name, z_ref)
        yield Slip(partial(_value_words, check.name, ohm), change, _more_ohm(ohm), SELDOM)
    if checks:
        sentence = say.SUSPECT_PLANE if still else say.SUSPECT_TURN
        yield Slip(partial(_metres_words, sentence, ""), _turned, OUT_M, SELDOM)
    for check in checks:
        for place, step in enumerate(check.path):
            if isinstance(step.element, Cable):
                yield from _of_cable(check.at or "", place, step.element.line)


def _single(said: str, change: Callable[[Scene], Scene]) -> Slip:
    """A slip without a size."""
    return Slip(lambda size: said, lambda scene, size: change(scene), np.ones(1))


def _exchanged(one: str, other: str, scene: Scene) -> Scene:
    return replace(scene, calibration=scene.calibration.exchanged(one, other))


def _ohm(value: Complex, z_ref: float) -> float:
    """The resistance of what is a resistor all over the band [ohm]."""
    return float(np.median(to_impedance(value, z_ref).real))


def _more_ohm(ohm: float) -> Real:
    """Sizes that leave a resistor more than nothing."""
    return np.asarray(BOTH_OHM[ohm + BOTH_OHM > 1.0])


def _of_standard(name: str, value: Complex, z_ref: float) -> Iterator[Slip]:
    """What may be wrong with one standard."""
    if np.all(np.abs(value - 1) > FAR):
        series = partial(_with_series, name, z_ref, 1.0)
        if np.all(np.abs(value + 1) > FAR):
            ohm = _ohm(value, z_ref)
            yield Slip(partial(_value_words, name, ohm), series, _more_ohm(ohm))
        else:
            yield Slip(
                partial(_ohm_words, say.SUSPECT_SERIES, name), series, SERIES_OHM[:-5], SELDOM
            )
        gap = partial(_with_series, name, z_ref, -1j)
        yield Slip(partial(_ohm_words, say.SUSPECT_GAP, name), gap, SERIES_OHM, 2 * SELDOM)
    if np.all(np.abs(value) > FAR):
        yield Slip(
            partial(_metres_words, say.SUSPECT_OUT, name), partial(_out, name), OUT_M, 2 * SELDOM
        )


def _value_words(name: str, ohm: float, more: float) -> str:
    return say.SUSPECT_VALUE.format(name=name, ohm=ohm + more)


def _ohm_words(sentence: str, name: str, ohm: float) -> str:
    return sentence.format(name=name, ohm=ohm)


def _metres_words(sentence: str, name: str, metres: float) -> str:
    way = say.FARTHER if metres > 0 else say.NEARER
    return sentence.format(name=name, mm=abs(1e3 * metres), way=way)


def _other_standard(name: str, scene: Scene, change: Callable[[Complex], Complex]) -> Scene:
    """With a standard that is something else."""
    old = scene.calibration
    known = [
        change(q.value) if n == name else q.value for n, q in zip(old.names, old.known, strict=True)
    ]
    return _solved(scene, known)


def _with_series(name: str, z_ref: float, way: complex, scene: Scene, ohm: float) -> Scene:
    """With something in series with a standard: resistance, or what falls with frequency."""
    f = scene.calibration.frequency
    more = way * ohm * (np.median(f) / f if way.imag else 1)
    return _other_standard(
        name, scene, lambda g: from_impedance(to_impedance(g, z_ref) + more, z_ref)
    )


def _out(name: str, scene: Scene, metres: float) -> Scene:
    """With a standard behind so much of line in air."""
    return _other_standard(name, scene, lambda g: g / _turn(scene, metres))


def _turn(scene: Scene, metres: float) -> Complex:
    """There and back over a length in air."""
    f = scene.calibration.frequency
    return np.asarray(np.exp(4j * np.pi * f * metres / SPEED_OF_LIGHT))


def _turned(scene: Scene, metres: float) -> Scene:
    return replace(scene, turned=_turn(scene, metres))


def _other_check(name: str, z_ref: float, scene: Scene, more: float) -> Scene:
    """With a check that has another resistance."""
    if scene.check is None or scene.check.name != name or scene.expected is None:
        return scene
    z = to_impedance(scene.expected.value, z_ref) + more
    return replace(scene, expected=replace(scene.expected, value=from_impedance(z, z_ref)))


def _of_cable(at: str, place: int, line: Line) -> Iterator[Slip]:
    """What may be wrong with a cable that was removed before a check."""
    yield Slip(partial(_length_words, at, line), partial(_times, place, LENGTH), TIMES, factor=True)
    yield Slip(partial(_loss_words, at), partial(_times, place, LOSS), TIMES[::12], factor=True)
    for kind, cable in CABLES.items():
        other = partial(_other_line, place, cable.line(line.length_m))
        yield _single(say.SUSPECT_TYPE.format(at=at, kind=kind), other)


def _length_words(at: str, line: Line, times: float) -> str:
    velocity = line.velocity_factor / times
    sentence = say.SUSPECT_VELOCITY if SLOWEST < velocity < 1 else say.SUSPECT_LENGTH
    if any(abs(times / f - 1) < NEARLY for f in (FOOT, 1 / FOOT)):
        sentence = say.SUSPECT_FEET
    return sentence.format(at=at, metres=times * line.length_m, velocity=velocity)


def _loss_words(at: str, times: float) -> str:
    return say.SUSPECT_LOSS.format(at=at, times=times)


def _times(place: int, which: int, scene: Scene, times: float) -> Scene:
    """With one input of a cable so many times what it is."""
    if not scene.path:
        return scene
    inputs = list(scene.path[place].parameters)
    inputs[which] = replace(inputs[which], value=inputs[which].value * times)
    return _other_step(scene, place, replace(scene.path[place], parameters=tuple(inputs)))


def _other_line(place: int, line: Line, scene: Scene) -> Scene:
    """With another cable."""
    if not scene.path:
        return scene
    step = scene.path[place]
    assert isinstance(step.element, Cable)
    values = (line.length_m, line.velocity_factor, line.z0, 1.0, line.skin)
    inputs = (
        replace(q, value=0 * q.value + v) for q, v in zip(step.parameters, values, strict=True)
    )
    element = replace(step.element, line=line)
    return _other_step(scene, place, replace(step, element=element, parameters=tuple(inputs)))


def _other_step(scene: Scene, place: int, step: Step) -> Scene:
    return replace(scene, path=(*scene.path[:place], step, *scene.path[place + 1 :]))
