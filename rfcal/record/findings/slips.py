"""Slips that would make standards and checks agree: what each changes, and what is said of it."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, product
from typing import Any, Literal

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.feedline.changes.shift import MOST_STRETCH
from rfcal.findings import grouped, quoted
from rfcal.maths.reflection import Complex, Real, from_impedance, renormalise, to_impedance
from rfcal.measurement.deembedding import Adapter, LineByFigures, Step, line_figures
from rfcal.measurement.error_terms import Calibration
from rfcal.models.cables import CABLES
from rfcal.models.interpolation import points_of
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.case import USUAL_HZ, Case, Meanings, Scene, in_order, states_reference
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.turns import by_figures
from rfcal.record.findings.weather import swept_lines
from rfcal.record.results import Check
from rfcal.uncertainty.words import about

KIND = "kind"
"""Slips of this group, and those of a size, are chosen of many."""
FAR = 0.5
"""Nearer to a short than this [1] a contact may be bad."""
RESISTOR = 0.97
"""Size of a reflection [1] up to which it is a resistor's, of 1 ohm or more and 3 kohm or less."""
LENGTH, VELOCITY, LOSS = 0, 1, 3
"""Which of a cable's inputs these are."""
SPEEDS = np.linspace(0.5, 1.0, 101)
"""Velocity factors that a line may have [1] (common practice, no source)."""
SELDOM = 0.3
"""Added to the misfit of what is met less often than exchanged files and wrong values (common
practice, no source)."""
USUAL_OHM = 50.0, 75.0
"""Reference impedances that files are in (common practice, no source)."""
FOOT = 0.3048
"""Metres of a foot, exact by definition."""
SERIES_OHM = np.geomspace(0.5, 400.0, 31)
BOTH_OHM = np.concatenate([-SERIES_OHM[::-1], SERIES_OHM])
OUT_M = np.geomspace(0.002, 0.1, 15)
TIMES = np.geomspace(0.15, 5.0, 201)
LEAST_OHM = 0.4
"""Sizes of slips from which the search starts: ohm, metres in air, parts of what is stated."""
STRAYS = (
    (say.SUSPECT_COIL, 1, 1, 1),
    (say.SUSPECT_ACROSS, 1, -1, 1),
    (say.SUSPECT_GAP, -1, 1, 2),
)
"""What is said of a reactance, the power of the frequency that it goes with, whether it lies in
series or across, and how much more seldom than a wrong value it is met."""

SUSPECTED = 8
"""Standards at most that are suspected of a slip, of more those that lie farthest off."""


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
    after: frozenset[str] = frozenset()  # it is tried where nothing of these groups explains it
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


def suspected(calibration: Calibration) -> tuple[str, ...]:
    """The standards that may be what a contradiction comes from."""
    off = np.mean(calibration.misfits(), axis=1)
    return tuple(calibration.names[i] for i in sorted(np.argsort(-off)[:SUSPECTED]))


def single(
    sentence: str,
    which: Literal["known", "seen"],
    names: Sequence[str],
    change: Callable[..., Complex | tuple[Complex, ...]],
    seldom: float = 0.0,
) -> Slip:
    """A slip without a size, in what artefacts are or in what was read of them."""
    said = partial(sentence.format, **dict(zip(("name", "other"), names, strict=False)))

    def moved(scene: Scene, _: float) -> Scene:
        return scene.other(which, names, change)

    return Slip(said, moved, seldom=seldom, decides=(say.BY_READING, tuple(names)))


def exchanges(
    pairs: Iterable[tuple[str, str]],
    seldom: float = 0.0,
    stayed: Collection[str] = (),
    mirrored: Collection[str] = (),
) -> Iterator[Slip]:
    """Readings under each other's name, against what read as before when it was read again.

    Of those `mirrored` no sign of X was shown: it may be another under another name.
    """
    for pair in pairs:
        for ways in product(*([np.positive, np.conj][: 1 + (name in mirrored)] for name in pair)):

            def moved(a: Complex, b: Complex, ways: Any = ways) -> tuple[Complex, ...]:
                return ways[1](b), ways[0](a)

            slip = single(say.SUSPECT_EXCHANGED, "seen", pair, moved, seldom)
            yield replace(slip, against=any(name in stayed for name in pair))


def of_devices(
    devices: Collection[Sweep], names: Iterable[str], z_ref: float, stayed: Collection[str]
) -> Iterator[Slip]:
    """Readings of devices under the name of a standard or check, and the other way round."""
    for name, device in product(names, devices):

        def moved(scene: Scene, _: float, name: str = name, device: Sweep = device) -> Scene:
            index = points_of(scene.solved.frequency, device.frequency)
            if index is None:
                return scene
            x = renormalise(device.reflection[index], device.z_ref, z_ref)
            return scene.other("seen", (name,), lambda _: x)

        said = partial(say.SUSPECT_EXCHANGED.format, name=name, other=device.label)
        decides = (say.BY_READING, (name, device.label))
        yield Slip(said, moved, seldom=SELDOM, against=name in stayed, decides=decides)


def misreadings(
    names: Sequence[str], suspects: Iterable[str], meant: Mapping[str, Meanings]
) -> Iterator[Slip]:
    """Numbers of all readings that mean something else, or of a suspect's one."""
    if all(say.SUSPECT_ORDER in meant.get(name, {}) for name in names):
        yield single(say.SUSPECT_ALL_ORDER, "seen", names, lambda *x: (*map(in_order, x),))
    for name in suspects:
        for sentence, undo in meant.get(name, {}).items():
            slip = single(sentence, "seen", (name,), undo)
            yield replace(slip, decides=(say.BY_WRITING, (name,)))


def other_references(read: Mapping[str, Sweep], z_ref: float) -> Iterator[Slip]:
    """Files that were in another reference impedance than they state."""
    of_files = grouped((s.z_ref, name) for name, s in read.items() if states_reference(s))
    for own, names in of_files.items():

        def moved(
            scene: Scene, meant: float, own: float = own, names: Sequence[str] = names
        ) -> Scene:
            here = [name for name in scene.seen if name in names]
            change = partial(map, lambda x: renormalise(renormalise(x, z_ref, own), meant, z_ref))
            return scene.other("seen", here, lambda *each: tuple(change(each))) if here else scene

        for meant in {*USUAL_OHM, z_ref} - {own}:
            said = partial(say.SUSPECT_REFERENCE.format, names=quoted(names), meant=meant, own=own)
            yield Slip(said, moved, (meant,), decides=(say.BY_SETTINGS, ()))


def of_unit(checks: Sequence[Check]) -> Iterator[Slip]:
    """Frequencies a thousand times off, by a line; or a check that was read before it."""
    behind = [check for check in checks if by_figures(check.inputs)]
    for times, than in ((1e3, say.HIGHER), (1e-3, say.LOWER)) if behind else ():
        low = times * min(check.frequency[0] for check in behind)
        high = times * max(check.frequency[-1] for check in behind)
        if USUAL_HZ[0] <= low and high <= USUAL_HZ[1]:
            said = partial(say.SUSPECT_UNIT.format, low=low / 1e6, high=high / 1e6, than=than)
            yield Slip(said, _faster, (times,), SELDOM, decides=(say.BY_SETTINGS, ()))
    for check in behind:

        def bare(scene: Scene, _: float, name: str = check.name) -> Scene:
            return replace(scene, path=()) if name in scene.seen else scene

        said = partial(say.SUSPECT_ABSENT.format, at=check.at, name=check.name)
        yield Slip(said, bare, seldom=SELDOM, decides=(say.BY_PLACE, ()))


def _faster(scene: Scene, times: float) -> Scene:
    """With all lines at so many times the frequencies."""
    path = tuple(
        replace(step, element=replace(step.element, frequency=step.element.frequency * times))
        if isinstance(step.element, LineByFigures)
        else step
        for step in scene.path
    )
    return replace(scene, path=path) if path else scene


def all_slips(case: Case, scenes: Sequence[Scene]) -> Iterator[Slip]:
    """All that is tried of a case's scenes, the likelier ones first."""
    solved, z_ref, stayed, read = scenes[0].solved, case.z_ref, case.stayed, case.read
    checks = [scene.check for scene in scenes if scene.check is not None]
    suspects, checked = suspected(solved), tuple(check.name for check in checks)
    yield from exchanges(combinations(suspects, 2), 0.0, stayed, case.mirrored)
    names = (*suspects, *checked)
    yield from misreadings((*solved.names, *checked), names, case.meant)
    yield from of_devices([read[name] for name in case.devices], names, z_ref, stayed)
    yield from other_references(read, z_ref)
    yield from of_unit(checks)
    for name in suspects:
        yield from other_values(name, scenes[0].known[name].value, z_ref)
    for check in checks:
        yield from other_values(check.name, check.expected.value, z_ref, SELDOM)
        pairs = [(name, check.name) for name in suspects if not check.inputs.path]
        yield from exchanges(pairs, SELDOM, stayed, case.mirrored)
        for pair in pairs:
            yield single(say.SUSPECT_TWICE, "known", pair, lambda a, b: (a, a), SELDOM)
    for way, than, sign in ((*say.FARTHER, 1), (*say.NEARER, -1)) if checks else ():
        said = partial((say.SUSPECT_PLANE if stayed else say.SUSPECT_TURN).format, way=way)
        yield Slip(said, _later, sign * OUT_M, SELDOM, sign * 1e3, group="plane")
        for c in (c for c in case.checks if c.at and not by_figures(c.inputs)):
            metres = sum(line.length_m for _, line in swept_lines(c.inputs, z_ref))
            said = partial(_adapted, MOST_STRETCH * metres, at=c.at, than=than)
            moved = partial(_later, only=c.name)
            yield Slip(said, moved, sign * OUT_M, SELDOM, sign * 1e3, group=f"plane {c.name}")
    for check in checks:
        for place, step in enumerate(check.inputs.path):
            if isinstance(step.element, LineByFigures):
                hertz = float(np.mean(check.frequency))
                yield from _of_cable(check.at or "", place, step.element.line, hertz)
            if isinstance(step.element, Adapter):
                turned = _on_path(place, lambda s, _: replace(s, parameters=s.parameters[::-1]))
                yield Slip(partial(say.SUSPECT_REVERSED.format, at=check.at), turned)


def other_values(name: str, value: Complex, z_ref: float, seldom: float = 0.0) -> Iterator[Slip]:
    """Another value [ohm] of what is a resistor all over the band, a bad contact, or a stray."""
    ohm = float(np.median(to_impedance(value, z_ref).real))

    def in_series(scene: Scene, more: Complex | float, side: int = 1) -> Scene:
        def change(g: Complex) -> Complex:
            return side * from_impedance(to_impedance(side * g, z_ref) + more, z_ref)

        return scene.other("known", (name,), change)

    def change(scene: Scene, other: float) -> Scene:
        return in_series(scene, other - ohm)

    def stray(scene: Scene, size: float, power: int, side: int) -> Scene:
        # what lies across adds to the admittance, which is the impedance on the chart's other side
        f = scene.solved.frequency
        x = (size if side > 0 else z_ref**2 / size) * (f / np.median(f)) ** power
        return in_series(scene, np.asarray(1j * power * x), side)

    def had(sentence: str, size: float) -> str:
        return sentence.format(name=name, size=about(size))

    resistor = bool(np.all(np.abs(value) < RESISTOR))
    told = (say.BY_OHMMETER if resistor else say.BY_READING, (name,))
    if resistor:
        said = partial(say.SUSPECT_TENFOLD.format, name=name)
        for times in (10.0, 0.1):
            yield Slip(said, change, (times * ohm,), seldom, decides=told)
    if resistor or np.all(np.abs(value + 1) < FAR):
        said = partial((say.SUSPECT_VALUE if resistor else say.SUSPECT_SERIES).format, name=name)
        sizes = ohm + BOTH_OHM[ohm + BOTH_OHM > LEAST_OHM]
        yield Slip(said, change, sizes, seldom if resistor else SELDOM, decides=told)
    for (sentence, way), power, side, times in STRAYS:
        if resistor or np.all(np.abs(value + side) < FAR):
            sizes = SERIES_OHM if side > 0 else z_ref**2 / SERIES_OHM
            moved = partial(stray, power=power, side=side)
            said = partial(had, sentence)
            yield Slip(said, moved, sizes, times * SELDOM, decides=(way, (name,)))


def _adapted(most_m: float, *, size: float, **what: str | None) -> str:
    """So much more or less line [mm in air] before a check, as weather makes up to a limit."""
    or_line = say.OR_WARMED * (size < 1e3 * most_m)
    return say.SUSPECT_ADAPTED.format(size=size, or_line=or_line, **what)


def _later(scene: Scene, metres: float, only: str = "") -> Scene:
    """With all that was read later there and back over a length in air, or one check only."""
    if scene.check is None or (only and scene.check.name != only):
        return scene
    back = np.exp(-4j * np.pi * scene.check.frequency * metres / SPEED_OF_LIGHT)
    box = scene.solved.error_box
    return scene.other("seen", (scene.check.name,), lambda m: box.apply(box.correct(m) * back))


def _of_cable(at: str, place: int, line: Line, hertz: float) -> Iterator[Slip]:
    """What may be wrong with a cable that was removed before a check."""

    def slip(sentence: str, which: int, sizes: Real, unit: float, factor: bool = True) -> Slip:
        change, said = _on_path(place, partial(_times, which)), partial(sentence.format, at=at)
        slip = Slip(said, change, sizes, unit=unit, factor=factor, group=f"{which} {place} {at}")
        return replace(slip, decides=(say.BY_TAPE, (at,)))

    in_feet = f"feet {place} {at}"
    for feet in (FOOT, 1 / FOOT):
        told = slip(say.SUSPECT_FEET, LENGTH, np.array([feet]), line.length_m, False)
        yield replace(told, group=in_feet)
        yield slip(say.SUSPECT_LOSS_FEET, LOSS, np.array([feet]), 1.0, False)
    # lengths half a wave apart look alike: the nearest to what is stated is told
    half = line.wavelength_m(hertz) / 2 / line.length_m
    low, high = np.clip([1 - half / 2, 1 + half / 2], TIMES[0], TIMES[-1])
    yield slip(say.SUSPECT_LENGTH, LENGTH, np.geomspace(low, high, TIMES.size), line.length_m)
    for far in (TIMES[low > TIMES], TIMES[high < TIMES]):
        if far.size:
            told = slip(say.SUSPECT_LENGTH, LENGTH, far, line.length_m)
            yield replace(told, after=frozenset({in_feet, told.group}))
    speeds = SPEEDS / line.velocity_factor
    yield slip(say.SUSPECT_VELOCITY, VELOCITY, speeds, line.velocity_factor)
    yield slip(say.SUSPECT_LOSS, LOSS, TIMES[::8], 1.0)
    for kind, cable in CABLES.items():
        other = _on_path(place, partial(_other_line, cable.line(line.length_m)))
        said = partial(say.SUSPECT_TYPE.format, at=at, kind=kind)
        yield Slip(said, other, seldom=SELDOM / 2, group=KIND, decides=(say.BY_TAPE, (at,)))


def _on_path(place: int, change: Callable[[Step, float], Step]) -> Change:
    """With another element before the checks that have one there."""

    def moved(scene: Scene, size: float) -> Scene:
        path = [change(s, size) if i == place else s for i, s in enumerate(scene.path)]
        return replace(scene, path=tuple(path)) if path else scene

    return moved


def _times(which: int, step: Step, times: float) -> Step:
    """One input of a cable so many times what it is."""
    inputs = list(step.parameters)
    inputs[which] = replace(inputs[which], value=inputs[which].value * times)
    return replace(step, parameters=tuple(inputs))


def _other_line(line: Line, step: Step, _: float) -> Step:
    assert isinstance(step.element, LineByFigures)
    pairs = zip(step.parameters, line_figures(line), strict=True)
    inputs = (replace(q, value=0 * q.value + v) for q, v in pairs)
    return replace(step, element=replace(step.element, line=line), parameters=tuple(inputs))
