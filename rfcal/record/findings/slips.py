"""Slips that would make standards and checks agree: what each changes, and what is said of it."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations, product
from typing import Any, Literal

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import grouped
from rfcal.maths.reflection import Complex, Real, from_impedance, renormalise, to_impedance
from rfcal.measurement.deembedding import Adapter, LineByFigures, Step, line_figures
from rfcal.measurement.error_terms import Calibration
from rfcal.models.cables import CABLES
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.case import USUAL_HZ, Case, Meanings, Scene, in_order, states_reference
from rfcal.record.findings.catalogue import slips as say
from rfcal.record.findings.catalogue.slips import SlipKind
from rfcal.record.findings.passivity import has_line_by_figures
from rfcal.record.findings.unsaid import swept_lines
from rfcal.record.results import Check
from rfcal.uncertainty.words import about

FAR = 0.5
"""Nearer to a short than this [1] a contact may be bad."""
RESISTOR = 0.97
"""Size of a reflection [1] up to which it is a resistor's, of 1 ohm or more and 3 kohm or less."""
LENGTH, VELOCITY, LOSS = 0, 1, 3
"""Which of a cable's inputs these are."""
SPEEDS = np.linspace(0.5, 1.0, 101)
"""Velocity factors that a line may have [1] (common practice, no source)."""
SELDOM = 0.3
"""Added to the misfit of what is met less often (common practice, no source)."""
USUAL_OHM = 50.0, 75.0
"""Reference impedances that files are in (common practice, no source)."""
FOOT = 0.3048
"""Metres of a foot, exact by definition."""
SERIES_OHM = np.geomspace(0.5, 400.0, 31)
BOTH_OHM = np.concatenate([-SERIES_OHM[::-1], SERIES_OHM])
OUT_MM = np.geomspace(2.0, 100.0, 15)
TIMES = np.geomspace(0.15, 5.0, 201)
LEAST_OHM = 0.4
"""Sizes of slips from which the search starts: ohm, millimetres in air, parts of what is stated."""
STRAYS = (say.COIL, 1, 1), (say.ACROSS, 1, -1), (say.GAP, -1, 1)
"""What is said of a reactance, the power of the frequency that it goes with, and whether it lies in
series or across."""

SUSPECTED = 8
"""Standards at most that are suspected of a slip, of more those that lie farthest off."""

Alteration = Callable[[Scene, Any], Scene]
Repeated = Callable[[Scene, int], Scene]
OtherValues = Callable[..., Complex | tuple[Complex, ...]]


@dataclass(frozen=True, eq=False)
class Slip:
    """One thing that may have been otherwise, of a size that is looked for."""

    kind: SlipKind
    names: tuple[str, ...]  # that it is said of
    change: Alteration
    sizes: Real | tuple[float, ...] = (1.0,)  # all there are, or an array from where to search
    stated: float = 0.0  # the size that is stated, near which another is likelier
    after: tuple[SlipKind, ...] = ()  # it is told where nothing of these kinds explains it
    words: Mapping[str, object] = field(default_factory=dict)

    @property
    def fitted(self) -> bool:
        """Whether it was chosen of many, so that it explains by chance what others do at once."""
        return not isinstance(self.sizes, tuple) or self.kind is say.TYPE

    def said(self, size: float) -> str:
        """What is said of it at a size."""
        size = abs(size)
        return self.kind.said(self.names, size=size, about=about(size), **self.words)

    def moved(self, scenes: Sequence[Scene], size: float) -> list[Scene]:
        """The scenes as they would be; none where nothing can be solved then."""
        try:
            with np.errstate(all="ignore"):
                moved = [self.change(scene, size) for scene in scenes]
                return moved if all(np.all(np.isfinite(scene.off)) for scene in moved) else []
        except CalibrationError:
            return []

    def misfits(self, scenes: Sequence[Scene], sizes: Real, repeated: Repeated) -> Real:
        """How far off everything would be by each of some sizes [1], without limit by what fails.

        All are tried at once, each at a copy of all points.
        """
        try:
            with np.errstate(all="ignore"):
                total = np.zeros(sizes.size)
                for scene in scenes:
                    each = np.repeat(sizes, scene.solved.frequency.size)
                    off = self.change(repeated(scene, sizes.size), each).off.reshape(sizes.size, -1)
                    total += np.log1p(np.mean(off, axis=1))
        except CalibrationError:  # by one size alone
            if sizes.size == 1:
                return np.array([np.inf])
            return np.concatenate([self.misfits(scenes, s[None], repeated) for s in sizes])
        return np.where(np.isfinite(total), total, np.inf)


def suspected(calibration: Calibration) -> tuple[str, ...]:
    """The standards that may be what a contradiction comes from."""
    off = np.mean(calibration.misfits(), axis=1)
    return tuple(calibration.names[i] for i in sorted(np.argsort(-off)[:SUSPECTED]))


def of_values(
    kind: SlipKind, names: tuple[str, ...], change: OtherValues, which: Literal["known", "seen"]
) -> Slip:
    """A slip without a size, in what artefacts are or in what was read of them."""
    return Slip(kind, names, lambda scene, _: scene.other(which, names, change))


def exchanges(pairs: Iterable[tuple[str, str]], mirrored: Collection[str] = ()) -> Iterator[Slip]:
    """Readings under each other's name.

    Of those `mirrored` no sign of X was shown: it may be another under another name.
    """
    for pair in pairs:
        for ways in product(*([np.positive, np.conj][: 1 + (name in mirrored)] for name in pair)):

            def swapped(a: Complex, b: Complex, ways: Any = ways) -> tuple[Complex, ...]:
                return ways[1](b), ways[0](a)

            yield of_values(say.EXCHANGED, pair, swapped, "seen")


def misreadings(
    names: tuple[str, ...], suspects: Iterable[str], meant: Mapping[str, Meanings]
) -> Iterator[Slip]:
    """Numbers of all readings that mean something else, or of a suspect's one."""
    if all(say.ORDER in meant.get(name, {}) for name in names):
        yield of_values(say.ALL_ORDER, names, lambda *x: (*map(in_order, x),), "seen")
    for name in suspects:
        for kind, undo in meant.get(name, {}).items():
            yield of_values(kind, (name,), undo, "seen")


def other_references(read: Mapping[str, Sweep], z_ref: float) -> Iterator[Slip]:
    """Files that were in another reference impedance than they state."""
    of_files = grouped((s.z_ref, name) for name, s in read.items() if states_reference(s))
    for own, names in of_files.items():

        def moved(
            scene: Scene, meant: float, own: float = own, names: Sequence[str] = names
        ) -> Scene:
            here = [name for name in scene.seen if name in names]
            change = partial(map, lambda x: renormalise(renormalise(x, z_ref, own), meant, z_ref))
            return scene.other("seen", here, lambda *each: tuple(change(each)))

        meant = (*{*USUAL_OHM, z_ref} - {own},)
        yield Slip(say.REFERENCE, (*names,), moved, meant, words={"own": own})


def of_unit(checks: Sequence[Check]) -> Iterator[Slip]:
    """Frequencies a thousand times off, by a line; or a check that was read before it."""
    for times, than in ((1e3, say.HIGHER), (1e-3, say.LOWER)) if checks else ():
        low = times * min(check.frequency[0] for check in checks)
        high = times * max(check.frequency[-1] for check in checks)
        if USUAL_HZ[0] <= low and high <= USUAL_HZ[1]:
            words = {"low": low / 1e6, "high": high / 1e6, "than": than}
            yield Slip(say.UNIT, (), _on_path(_faster), (times,), words=words)
    for check in checks:

        def bare(scene: Scene, _: float, name: str = check.name) -> Scene:
            return replace(scene, path=()) if name in scene.seen else scene

        yield Slip(say.ABSENT, (check.name,), bare, words={"at": check.at})


def all_slips(case: Case, scenes: Sequence[Scene]) -> Iterator[Slip]:
    """All that is tried of a case's scenes, the likelier ones first."""
    solved, z_ref = scenes[0].solved, case.z_ref
    checks = [scene.check for scene in scenes if scene.check is not None]
    suspects, checked = suspected(solved), tuple(check.name for check in checks)
    names = (*suspects, *checked)
    beside = [*product(suspects, [check.name for check in checks if not check.inputs.path])]
    pairs = (*combinations(suspects, 2), *beside, *product(names, case.devices))
    yield from exchanges(pairs, case.mirrored)
    yield from misreadings((*solved.names, *checked), names, case.meant)
    yield from other_references(case.read, z_ref)
    yield from of_unit([check for check in checks if has_line_by_figures(check.inputs)])
    for name in suspects:
        yield from other_values(name, scenes[0].known[name].value, z_ref)
    for check in checks:
        yield from other_values(check.name, check.expected.value, z_ref)
    for pair in beside:
        yield of_values(say.TWICE, pair, lambda a, b: (a, a), "known")
    if checks:
        yield from _of_planes(case)
    for check in checks:
        for place, step in enumerate(check.inputs.path):
            if isinstance(step.element, LineByFigures):
                hertz = float(np.mean(check.frequency))
                yield from _of_cable(check.at or "", place, step.element.line, hertz)
            if isinstance(step.element, Adapter):
                turned = _on_path(lambda s, _: replace(s, parameters=s.parameters[::-1]), place)
                yield Slip(say.REVERSED, (check.at or "",), turned)


def other_values(name: str, value: Complex, z_ref: float) -> Iterator[Slip]:
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

    resistor = bool(np.all(np.abs(value) < RESISTOR))
    if resistor:
        yield Slip(say.TENFOLD, (name,), change, (10 * ohm, ohm / 10))
    coil = np.imag(value) > 0
    if not resistor and np.all(coil == coil[0]) and np.max(np.abs(value.imag)) > LEAST_OHM / z_ref:
        times = 1e-3 if coil[0] else 1e3

        def smaller(g: Complex) -> Complex:
            return from_impedance(times * to_impedance(g, z_ref), z_ref)

        yield of_values(say.THOUSANDTH, (name,), smaller, "known")
    if resistor or np.all(np.abs(value + 1) < FAR):
        sizes = ohm + BOTH_OHM[ohm + BOTH_OHM > LEAST_OHM]
        yield Slip(say.VALUE if resistor else say.SERIES, (name,), change, sizes)
    for kind, power, side in STRAYS:
        if resistor or np.all(np.abs(value + side) < FAR):
            sizes = SERIES_OHM if side > 0 else z_ref**2 / SERIES_OHM
            yield Slip(kind, (name,), partial(stray, power=power, side=side), sizes)


def _of_planes(case: Case) -> Iterator[Slip]:
    """So much more or less line [mm in air] before all that was read later, or before a check."""
    for way, than, sign in ((*say.FARTHER, 1), (*say.NEARER, -1)):
        kind = say.PLANE if case.stayed else say.TURN
        yield Slip(kind, (), _later, sign * OUT_MM, words={"way": way})
        for c in (c for c in case.checks if c.at and not has_line_by_figures(c.inputs)):
            metres = sum(line.length_m for _, line in swept_lines(c.inputs, case.z_ref))
            most_mm = 1e3 * defaults.NO_WEATHER_STRETCH * metres
            or_line = say.OR_WARMED.format(most_mm=most_mm) if metres else ""
            moved, words = partial(_later, only=c.name), {"than": than, "or_line": or_line}
            sizes = sign * OUT_MM
            yield Slip(say.ADAPTED, (c.name,), moved, sizes, words=words | {"at": c.at})


def _later(scene: Scene, mm: float, only: str = "") -> Scene:
    """With all that was read later there and back over a length in air, or one check only."""
    if scene.check is None or (only and scene.check.name != only):
        return scene
    back = np.exp(-4e-3j * np.pi * scene.check.frequency * mm / SPEED_OF_LIGHT)
    box = scene.solved.error_box
    return scene.other("seen", (scene.check.name,), lambda m: box.apply(box.correct(m) * back))


def _of_cable(at: str, place: int, line: Line, hertz: float) -> Iterator[Slip]:
    """What may be wrong with a cable that was removed before a check."""

    def slip(kind: SlipKind, which: int, times: Real | tuple[float, ...], stated: float) -> Slip:
        def change(step: Step, size: float) -> Step:
            inputs = list(step.parameters)
            inputs[which] = replace(inputs[which], value=inputs[which].value * size / stated)
            return replace(step, parameters=tuple(inputs))

        sizes = tuple(stated * t for t in times) if isinstance(times, tuple) else stated * times
        return Slip(kind, (at,), _on_path(change, place), sizes, stated)

    metres, fast = line.length_m, line.velocity_factor
    yield slip(say.FEET, LENGTH, (FOOT, 1 / FOOT), metres)
    # lengths half a wave apart look alike: the nearest to what is stated is told
    half = line.wavelength_m(hertz) / 2 / metres
    low, high = np.clip([1 - half / 2, 1 + half / 2], TIMES[0], TIMES[-1])
    yield slip(say.LENGTH, LENGTH, np.geomspace(low, high, TIMES.size), metres)
    if (far := TIMES[(low > TIMES) | (high < TIMES)]).size:
        yield replace(slip(say.LENGTH, LENGTH, far, metres), after=(say.FEET, say.LENGTH))
    yield slip(say.VELOCITY, VELOCITY, SPEEDS / fast, fast)
    yield slip(say.LOSS, LOSS, TIMES[::8], 1.0)
    for kind, cable in CABLES.items():
        other = _on_path(partial(_other_line, cable.line(metres)), place)
        yield Slip(say.TYPE, (at,), other, words={"kind": kind})


def _on_path(change: Callable[[Step, float], Step], place: int | None = None) -> Alteration:
    """With another element before the checks that have one there, or others in all places."""

    def moved(scene: Scene, size: float) -> Scene:
        path = [change(s, size) if place in (None, i) else s for i, s in enumerate(scene.path)]
        return replace(scene, path=tuple(path)) if path else scene

    return moved


def _faster(step: Step, times: float) -> Step:
    """A line that is known by its figures at so many times the frequency."""
    if not isinstance(step.element, LineByFigures):
        return step
    return replace(step, element=replace(step.element, frequency=step.element.frequency * times))


def _other_line(line: Line, step: Step, _: float) -> Step:
    assert isinstance(step.element, LineByFigures)
    pairs = zip(step.parameters, line_figures(line), strict=True)
    inputs = (replace(q, value=0 * q.value + v) for q, v in pairs)
    return replace(step, element=replace(step.element, line=line), parameters=tuple(inputs))
