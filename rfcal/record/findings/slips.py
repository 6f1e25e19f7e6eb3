"""Slips that would make standards and checks agree: what each changes, and what is said of it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import combinations

import numpy as np

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.deembedding import Adapter, Cable, Step, seen_beyond
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.model import propagate, region
from rfcal.models.cables import CABLES
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.misread import Meanings
from rfcal.record.findings.standards import contradict
from rfcal.record.results import Check
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import far_off

FAR = 0.5
"""Nearer to an open than this [1] something in series changes nothing to speak of, nearer to a
short than this it is no value, nearer to a match than this a length turns nothing."""
LENGTH, VELOCITY, LOSS = 0, 1, 3
"""Which of a cable's inputs these are."""
SPEEDS = np.linspace(0.5, 1.0, 101)
"""Velocity factors that a line may have [1] (common practice, no source)."""
SELDOM = 0.3
"""Added to the misfit of what is met less often than exchanged files and wrong values (common
practice, no source)."""
FOOT = 0.3048
"""Metres of a foot, exact by definition."""
SERIES_OHM = np.geomspace(0.5, 100.0, 25)
BOTH_OHM = 4 * np.concatenate([-SERIES_OHM[::-1], SERIES_OHM])
OUT_M = np.concatenate([-np.geomspace(0.1, 0.002, 15), np.geomspace(0.002, 0.1, 15)])
TIMES = np.geomspace(0.15, 5.0, 201)
"""Sizes of slips from which the search starts: ohm, metres in air, parts of what is stated."""


@dataclass(frozen=True, eq=False)
class Scene:
    """The standards, and what was corrected with them; the standards alone without a check."""

    calibration: Calibration
    check: Check | None = None
    reading: Quantity | None = None  # of the check, raw [1]
    expected: Quantity | None = None
    path: tuple[Step, ...] = ()
    turned: Complex | None = None  # how far everything later is turned at the plane

    @cached_property
    def off(self) -> Real:
        """Squared distances from agreement, those of two normal variables each [1].

        A check's own region is taken about where it would be, which is quick.
        """
        found = self.calibration
        if self.check is None:
            total, freedom = found.chi_square()
            return 2 * total / max(freedom, 1)
        assert self.reading is not None
        assert self.expected is not None
        at_plane = found.error_box.correct(self.reading.value)
        if self.turned is not None:
            at_plane = at_plane / self.turned
        x = seen_beyond(at_plane, found.error_box, self.path)
        return replace(self.check.region, centre=x).squared_distance(self.expected)

    def agrees(self, chance: float) -> bool:
        """Whether no more is off than chance explains, by the region that it would have."""
        if self.check is None:
            return not np.any(contradict(self.calibration, chance))
        if self.turned is not None:
            return not far_off(self.off, chance)
        assert self.reading is not None
        assert self.expected is not None
        inputs = replace(
            self.check.inputs, calibration=self.calibration, reading=self.reading, path=self.path
        )
        with np.errstate(all="ignore"):
            where = region(inputs, propagate(inputs))
            return not far_off(where.squared_distance(self.expected), chance)


Change = Callable[[Scene, float], Scene]


@dataclass(frozen=True, eq=False)
class Slip:
    """One thing that may have been otherwise, of a size that is looked for."""

    said: Callable[[float], str]
    change: Change
    sizes: Real  # [1], from where the search starts
    seldom: float = 0.0  # added to its misfit: what is met less often must fit better
    factor: bool = False  # whether the sizes are factors, of which those near 1 are likelier
    group: str = ""  # of those of one group the likeliest is told


def _solved(scene: Scene, values: Sequence[Complex]) -> Scene:
    """With other values of what the standards are [1]."""
    old = scene.calibration
    known = tuple(replace(q, value=v) for q, v in zip(old.known, values, strict=True))
    box = Bilinear.fit(values, [q.value for q in old.seen], old.weight)
    return replace(scene, calibration=replace(old, known=known, error_box=box))


def all_slips(
    scenes: Sequence[Scene], z_ref: float, still: bool, meant: Mapping[str, Meanings]
) -> Iterator[Slip]:
    """All that is tried, the likelier ones first."""
    first = scenes[0].calibration
    for one, other in combinations(first.names, 2):
        said = say.SUSPECT_EXCHANGED.format(one=one, other=other)
        yield _single(said, partial(_exchanged, one, other))
    for name, known in zip(first.names, first.known, strict=True):
        yield from _of_standard(name, known.value, z_ref)
        yield from _of_file(name, meant, partial(_other_reading, name))
    checks = [scene.check for scene in scenes if scene.check is not None]
    for check in checks:
        ohm = _ohm(check.expected.value, z_ref)
        change = partial(_other_check, check.name, z_ref)
        yield Slip(partial(_value_words, check.name, ohm), change, _more_ohm(ohm), SELDOM)
        yield from _of_file(check.name, meant, partial(_other_check_reading, check.name))
        for name in first.names if not check.path else ():
            said = say.SUSPECT_EXCHANGED.format(one=name, other=check.name)
            yield replace(_single(said, partial(_exchanged_with, name, check.name)), seldom=SELDOM)
            said = say.SUSPECT_TWICE.format(name=check.name, other=name)
            yield replace(_single(said, partial(_twice, name, check.name)), seldom=SELDOM)
    if checks:
        sentence = say.SUSPECT_PLANE if still else say.SUSPECT_TURN
        yield Slip(partial(_metres_words, sentence, ""), _turned, OUT_M, SELDOM)
    for check in checks:
        for place, step in enumerate(check.path):
            if isinstance(step.element, Cable):
                yield from _of_cable(check.at or "", place, step.element.line)
            if isinstance(step.element, Adapter):
                said = say.SUSPECT_REVERSED.format(at=check.at)
                yield _single(said, partial(_reversed, place))


def _single(said: str, change: Callable[[Scene], Scene]) -> Slip:
    """A slip without a size."""
    return Slip(lambda size: said, lambda scene, size: change(scene), np.ones(1))


def _exchanged(one: str, other: str, scene: Scene) -> Scene:
    return replace(scene, calibration=scene.calibration.exchanged(one, other))


def _exchanged_with(standard: str, name: str, scene: Scene) -> Scene:
    """With the readings of a standard and a check exchanged."""
    if scene.check is None or scene.check.name != name or scene.reading is None:
        return scene
    old, reading = scene.calibration, scene.reading
    changed = _other_reading(standard, lambda x: reading.value, scene)
    value = old.seen[old.names.index(standard)].value
    return replace(changed, reading=replace(reading, value=value))


def _twice(standard: str, name: str, scene: Scene) -> Scene:
    """With a check that is what a standard is."""
    if scene.check is None or scene.check.name != name:
        return scene
    old = scene.calibration
    return replace(scene, expected=old.known[old.names.index(standard)])


def _of_file(
    name: str,
    meant: Mapping[str, Meanings],
    other: Callable[[Callable[[Complex], Complex], Scene], Scene],
) -> Iterator[Slip]:
    """What may be wrong with the numbers of one reading."""
    for said, undo in meant.get(name, {}).items():
        yield _single(said, partial(other, undo))


def _other_reading(name: str, meant: Callable[[Complex], Complex], scene: Scene) -> Scene:
    """With what was meant in the file of a standard."""
    old = scene.calibration
    seen = tuple(
        replace(q, value=meant(q.value)) if n == name else q
        for n, q in zip(old.names, old.seen, strict=True)
    )
    box = Bilinear.fit([q.value for q in old.known], [q.value for q in seen], old.weight)
    return replace(scene, calibration=replace(old, seen=seen, error_box=box))


def _other_check_reading(name: str, meant: Callable[[Complex], Complex], scene: Scene) -> Scene:
    """With what was meant in the file of a check."""
    if scene.check is None or scene.check.name != name or scene.reading is None:
        return scene
    return replace(scene, reading=replace(scene.reading, value=meant(scene.reading.value)))


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
    for feet in (FOOT, 1 / FOOT):
        for which, sentence in ((LENGTH, say.SUSPECT_FEET), (LOSS, say.SUSPECT_LOSS_FEET)):
            said = sentence.format(at=at, metres=feet * line.length_m, times=feet)
            yield _single(said, partial(_times, place, which, times=feet))
    length = partial(_line_words, say.SUSPECT_LENGTH, at, line)
    yield Slip(length, partial(_times, place, LENGTH), TIMES, factor=True)
    speed = partial(_line_words, say.SUSPECT_VELOCITY, at, line)
    velocity = partial(_times, place, VELOCITY)
    yield Slip(speed, velocity, SPEEDS / line.velocity_factor, factor=True)
    yield Slip(partial(_loss_words, at), partial(_times, place, LOSS), TIMES[::8], factor=True)
    for kind, cable in CABLES.items():
        other = partial(_other_line, place, cable.line(line.length_m))
        said = say.SUSPECT_TYPE.format(at=at, kind=kind)
        yield replace(_single(said, other), seldom=SELDOM / 2, group="type")


def _line_words(sentence: str, at: str, line: Line, times: float) -> str:
    velocity, metres = line.velocity_factor * times, line.length_m * times
    return sentence.format(at=at, metres=metres, velocity=velocity)


def _loss_words(at: str, times: float) -> str:
    return say.SUSPECT_LOSS.format(at=at, times=times)


def _times(place: int, which: int, scene: Scene, times: float) -> Scene:
    """With one input of a cable so many times what it is."""
    if not scene.path:
        return scene
    inputs = list(scene.path[place].parameters)
    inputs[which] = replace(inputs[which], value=inputs[which].value * times)
    return _other_step(scene, place, replace(scene.path[place], parameters=tuple(inputs)))


def _reversed(place: int, scene: Scene) -> Scene:
    """With an adapter turned round."""
    if not scene.path:
        return scene
    step = scene.path[place]
    return _other_step(scene, place, replace(step, parameters=step.parameters[::-1]))


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
