"""Closed forms, every real solution: one reactance, L, pi and T, stubs and sections of line.

The parts of a design are without loss, and its lengths the shortest, below half a wave. Whatever
value a part has, what it makes of an impedance lies on one circle of the reflection plane: two
parts match where the circle of the one at the load meets that from which the other leads to the
target, as is drawn on the chart (D. M. Pozar, Microwave Engineering, sections 5.1 to 5.3). Node Q
as in C. Bowick, RF Circuit Design, chapter 4 (value from memory); by phase, from the chain matrix
of a reciprocal network without loss.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.matching.network import SECTION, SERIES, SHUNT, AnyPart, Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.line import Line

Parts = list[tuple[str, AnyPart]]
CentreRadius = tuple[complex, float]
"""Centre and radius of reflections [1]."""
TINY = 1e-6
"""A reactance or susceptance below this share of the target's counts as none."""
MATCHED = "the load is matched as it is and needs no network at this frequency"


@dataclass(frozen=True)
class Point:
    """A load at one frequency, and the resistance that it is to become."""

    frequency_hz: float
    load_ohm: complex
    target_ohm: Any = defaults.REFERENCE_OHM  # complex on the way to it


def short(value: float) -> str:
    """A number that bounds something, to three digits."""
    return f"{float(f'{value:.3g}'):g}"


def reactance(frequency_hz: float, ohm: float) -> AnyPart:
    """The part without loss that has a reactance [ohm], not zero."""
    omega = 2 * np.pi * frequency_hz
    return Inductor(ohm / omega) if ohm > 0 else Capacitor(-1 / (omega * ohm))


def stub(
    frequency_hz: float, line: Line, *, place: str, end: str, normalised: float
) -> tuple[str, Stub]:
    """The shortest stub of a susceptance times z0 in shunt, of a reactance over z0 in series."""
    # b = tan(beta l) open in shunt (x, short in series); b = -cot(beta l) for the others
    tangent = (place == SHUNT) == (end == "open")
    angle = np.arctan2(normalised, 1) if tangent else np.arctan2(1, -normalised)
    wave = line.wavelength_m(frequency_hz)
    return place, Stub(replace(line, length_m=float(angle % np.pi / (2 * np.pi) * wave)), end)


def _section(frequency_hz: float, line: Line, angle_rad: float) -> Parts:
    """A piece of the line as a section, or nothing where it has no length."""
    angle = angle_rad % np.pi
    if min(angle, np.pi - angle) < TINY:
        return []
    length = float(angle / (2 * np.pi) * line.wavelength_m(frequency_hz))
    return [(SECTION, replace(line, length_m=length))]


@dataclass(frozen=True)
class _Free:
    """A part whose value is to be found: a reactance, a stub where it has an end, or a section."""

    place: str
    line: Line | None = None
    end: str = ""

    def ends(self, ohm: complex) -> tuple[float, float]:
        """Least and largest resistance that it makes of an impedance where that is real [ohm]."""
        if self.line and not self.end:
            size = abs(complex(from_impedance(ohm, self.line.z0)))
            return self.line.z0 * (1 - size) / (1 + size), self.line.z0 * (1 + size) / (1 - size)
        return (ohm.real, np.inf) if self.place == SERIES else (0.0, 1 / (1 / ohm).real)

    def circle(self, ohm: complex, z_ref: float) -> CentreRadius:
        """The reflections that it makes of an impedance."""
        low, high = map(float, from_impedance(self.ends(ohm), z_ref).real)
        return (low + high) / 2, (high - low) / 2

    def parts(self, at: Point, start: complex, stop: complex) -> Parts:
        """What turns one impedance of the circle into another; nothing where they are the same."""
        if self.line and not self.end:
            angles = np.angle(from_impedance([start, stop], self.line.z0))
            return _section(at.frequency_hz, self.line, (angles[0] - angles[1]) / 2)
        return self.made(at, (stop - start if self.place == SERIES else 1 / stop - 1 / start).imag)

    def made(self, at: Point, value: float) -> Parts:
        """A series reactance [ohm] or shunt susceptance [S], or nothing of next to none."""
        in_series = self.place == SERIES
        if abs(value) <= TINY * abs(at.target_ohm if in_series else 1 / at.target_ohm):
            return []
        if self.line:
            normalised = value / self.line.z0 if in_series else value * self.line.z0
            place, end = self.place, self.end
            cut = stub(at.frequency_hz, self.line, place=place, end=end, normalised=normalised)
            return [cut]
        return [(self.place, reactance(at.frequency_hz, value if in_series else -1 / value))]


def _meetings(one: CentreRadius, other: CentreRadius) -> list[complex]:
    """Where two circles meet: twice, once or not at all."""
    apart = other[0] - one[0]
    if abs(apart) < TINY:
        return []
    along = (one[1] ** 2 - other[1] ** 2 + abs(apart) ** 2) / (2 * abs(apart))
    square = one[1] ** 2 - along**2
    if square < -(TINY**2):
        return []
    up, way = 1j * np.sqrt(max(square, 0)), apart / abs(apart)
    found = [one[0] + way * (along + across) for across in (up, -up)[: 1 + (abs(up) > TINY)]]
    return sorted(found, key=lambda meeting: -meeting.imag)


def _two_free(
    at: Point,
    near: _Free,
    far: _Free,
    z_ref: float,
    spacing: Sequence[tuple[str, AnyPart]] = (),
    turn: complex = 1.0,
) -> list[Parts]:
    """The parts, source to load, of every two values that match.

    Between the two is a `spacing`, by which reflections [in `z_ref`, ohm] are `turn`ed.
    """
    centre, radius = far.circle(at.target_ohm, z_ref)
    found = []
    for seen in _meetings(near.circle(at.load_ohm, z_ref), (centre / turn, radius)):
        joint, then = to_impedance([seen, seen * turn], z_ref)
        ahead = far.parts(at, complex(then), at.target_ohm)
        found.append([*ahead, *spacing, *near.parts(at, at.load_ohm, complex(joint))])
    return found


def _networks(found: Iterable[tuple[str, Parts]], why: str = "") -> tuple[Network, ...]:
    """Networks by name and parts without what came twice; `why` there may be none."""
    distinct: dict[tuple, Network] = {}
    for name, parts in found:
        why = MATCHED
        if parts:
            network = Network.of(name, parts)
            key = tuple((e.place, type(e.part), f"{e.value:.8e}") for e in network.elements)
            distinct.setdefault(key, network)
    if not distinct:
        raise MatchingError(why)
    return tuple(distinct.values())


def single(at: Point, *, enough_swr: float = defaults.TARGET_SWR) -> tuple[Network, ...]:
    """One reactance in series or in shunt, where that reaches the SWR that is enough [1]."""
    found, best = [], []
    for place, ohm in ((SERIES, at.load_ohm.real), (SHUNT, 1 / (1 / at.load_ohm).real)):
        # a real load: SWR = R / R0 or R0 / R
        best.append(max(ohm / at.target_ohm, at.target_ohm / ohm))
        if best[-1] <= enough_swr * (1 + TINY):
            parts = _Free(place).parts(at, at.load_ohm, ohm)
            found.append((f"single {place} reactance", parts))
    # two digits are what the load bears, unless they would hide that it is not enough
    near = 2 if min(best) > 1.1 * enough_swr else 4
    series, shunt = (f"{float(f'{ratio:.{near}g}'):g}" for ratio in best)
    why = (
        f"one reactance reaches SWR {series} in series and {shunt} as a shunt, "
        f"not {enough_swr:.4g}: an L section matches every load at one frequency"
    )
    return _networks(found, why)


def l_section(at: Point) -> tuple[Network, ...]:
    """Every L section, up to four: not every load has both orders."""
    return _networks(
        (f"L, {near} part at load", parts)
        for near, far in ((SERIES, SHUNT), (SHUNT, SERIES))
        for parts in _two_free(at, _Free(near), _Free(far), at.target_ohm)
    )


def _shape(shape: str) -> tuple[str, str, Callable[[complex], complex]]:
    """Places of a section's outer parts and its inner one, and what the outer ones add to.

    That is of an impedance the admittance for a pi, itself for a T.
    """
    return (SERIES, SHUNT, complex) if shape == "T" else (SHUNT, SERIES, lambda ohm: 1 / ohm)


def by_q(at: Point, *, shape: str, q: float) -> tuple[Network, ...]:
    """Every pi or T section whose larger Q is the one asked for, by the signs of its parts.

    It is that of a pi's node on one side, and that of a T's branch; what remains is an L section.
    """
    outer, inner, own = _shape(shape)
    ends = (own(ohm).real ** (1 if shape == "T" else -1) for ohm in (at.load_ohm, at.target_ohm))
    low, high = sorted(ends)
    # Q^2 + 1 = R high / R low
    least = short(np.sqrt(high / low - 1))
    why = (
        f"a {shape} between {short(low)} and {short(high)} ohm needs a Q of at least {least}, not "
        f"{short(q)}; at that least Q it becomes an L section"
    )
    at_load, found = own(at.load_ohm).real <= own(at.target_ohm).real, []
    for sign in (1, -1):
        ohm = at.load_ohm if at_load else at.target_ohm
        seen = own(own(ohm).real * (1 + 1j * sign * q))
        first = _Free(outer).parts(at, ohm, seen)
        if at_load:
            rest = _two_free(replace(at, load_ohm=seen), _Free(inner), _Free(outer), at.target_ohm)
            found += [(shape, [*parts, *first]) for parts in rest]
        else:
            # with the part at the source it is the target
            there = replace(at, target_ohm=seen.conjugate())
            rest = _two_free(there, _Free(outer), _Free(inner), at.target_ohm)
            found += [(shape, [*first, *parts]) for parts in rest]
    return _networks(found, why)


def by_phase(at: Point, *, shape: str, phase_rad: float) -> tuple[Network, ...]:
    """The pi or T section at which the load lags the input by a phase, -pi to pi [rad].

    It is the phase of a pi's voltage, and that of a T's current. The chain matrix of a reciprocal
    network without loss that matches R2 to R1 and turns by p is ``A = sqrt(R1/R2) cos p, B = j
    sqrt(R1 R2) sin p, C = B / (R1 R2), D = sqrt(R2/R1) cos p``.
    """
    outer, inner, own = _shape(shape)
    load, target = own(at.load_ohm), own(at.target_ohm).real
    # of a pi, x between shunt b: B = jx, D = 1 - x b (source), A = 1 - x b (load); a T is its dual
    x, ratio = np.sin(phase_rad) / np.sqrt(load.real * target), np.sqrt(load.real / target)
    cosine = np.cos(phase_rad)
    values = (1 - cosine / ratio) / x, x, (1 - ratio * cosine) / x - load.imag
    places = zip((outer, inner, outer), values, strict=True)
    return _networks([(shape, [p for place, v in places for p in _Free(place).made(at, v)])])


def single_stub(
    at: Point, *, line: Line, place: str = SHUNT, end: str = "short"
) -> tuple[Network, ...]:
    """A piece of line at the load, and a stub of the same line where it ends; up to two."""
    piece = _Free(SECTION, line)
    wanted = (line.z0 / at.target_ohm) ** (1 if place == SHUNT else -1)
    low, high = (short(ohm / line.z0) for ohm in piece.ends(at.load_ohm))
    why = (
        f"along a line of {short(line.z0)} ohm this load's "
        f"{'conductance' if place == SHUNT else 'resistance'} stays between {low} and {high} of "
        f"the line's, and a {place} stub would need {short(wanted)}: use a line of "
        f"{short(at.target_ohm)} ohm, or an L section"
    )
    found = _two_free(at, piece, _Free(place, line, end), line.z0)
    return _networks(((f"{place} stub, {end}", parts) for parts in found), why)


def double_stub(
    at: Point,
    *,
    line: Line,
    end: str = "short",
    spacing_waves: float = 0.125,
    first_waves: float = 0.0,
) -> tuple[Network, ...]:
    """Two shunt stubs, the first so far from the load [wavelengths], the other so far from it."""
    first, spacing = 2 * np.pi * first_waves, 2 * np.pi * spacing_waves
    turned = from_impedance(at.load_ohm, line.z0) * np.exp(-2j * first)
    there = replace(at, load_ohm=complex(to_impedance(turned, line.z0)))
    why = (
        f"the conductance at the first stub is {short((line.z0 / there.load_ohm).real)} of the "
        f"line's, and two stubs {spacing_waves:.3g} wavelengths apart match none above "
        f"{short(at.target_ohm / line.z0 / np.sin(spacing) ** 2)}: move the first stub along the "
        "line, change the spacing, or use a single stub, which has no such limit"
    )
    between, one = _section(at.frequency_hz, line, spacing), _Free(SHUNT, line, end)
    found = _two_free(there, one, one, line.z0, between, np.exp(-2j * spacing))
    ahead = _section(at.frequency_hz, line, first)
    return _networks(((f"double stub, {end}", parts + ahead) for parts in found), why)


def quarter_wave(at: Point, *, line: Line) -> tuple[Network, ...]:
    """A quarter-wave section and what makes the load real for it.

    Tuned by a reactance in series or in shunt, or by a piece of line to the largest or the
    smallest voltage; alone for a load that is real already.
    """

    def section(resistance: float) -> Parts:
        # Z0 = sqrt(R R0)
        whole = replace(line, z0=float(np.sqrt(resistance * at.target_ohm)))
        return _section(at.frequency_hz, whole, np.pi / 2)

    if abs(at.load_ohm.imag) < TINY * at.target_ohm:
        return (Network.of("quarter wave", section(at.load_ohm.real)),)
    series, shunt, piece = _Free(SERIES), _Free(SHUNT), _Free(SECTION, line)
    low, high = piece.ends(at.load_ohm)
    tuned = (
        ("series part", series, at.load_ohm.real),
        ("shunt part", shunt, 1 / (1 / at.load_ohm).real),
        ("line", piece, high),
        ("line", piece, low),
    )
    return tuple(
        Network.of(f"quarter wave, {name} at load", section(r) + way.parts(at, at.load_ohm, r))
        for name, way, r in tuned
    )


def two_sections(at: Point, *, near: Line, far: Line) -> tuple[Network, ...]:
    """Two sections, of the line `near` at the load and `far` at the source; up to two designs."""
    za, zb = near.z0, far.z0
    if abs(za - zb) < TINY * za or abs(zb - at.target_ohm) < TINY * zb:
        raise MatchingError(
            "two sections need cables of two impedances, and the one at the transmitter's end must "
            f"differ from the target's: here they are {za:.4g} and {zb:.4g} ohm"
        )
    ends = _Free(SECTION, near).ends(at.load_ohm), sorted((at.target_ohm, zb**2 / at.target_ohm))
    (low, high), (first, last) = (map(short, pair) for pair in ends)
    why = (
        f"a section of {short(za)} ohm takes this load round a circle from {low} to {high} ohm, "
        f"one of {short(zb)} ohm takes the target round another from {first} to {last} ohm, and "
        "the two do not meet: take lines further apart in impedance, or a stub"
    )
    found = _two_free(at, _Free(SECTION, near), _Free(SECTION, far), za)
    return _networks((("two sections", parts) for parts in found), why)
