"""Closed forms with pieces of line: stubs, quarter wave, two sections; every real solution.

A design takes its lines as without loss; lengths are the shortest, below half a wave. Sources:
D. M. Pozar, Microwave Engineering, sections 5.2 to 5.4, written for lines of any impedance with
reflections in place of tangents; the two-section transformer is the intersection of two circles
of the impedance plane, on which the impedance along either section lies.
"""

from dataclasses import replace

import numpy as np

from rfcal.errors import MatchingError
from rfcal.matching.element import SECTION, SERIES, SHUNT, Part
from rfcal.matching.lumped import MATCHED, TINY, Point, reactance, short
from rfcal.matching.network import Network
from rfcal.matching.parts import Stub
from rfcal.maths.reflection import from_impedance
from rfcal.models.line import Line

Parts = list[tuple[str, Part]]


def _section(frequency_hz: float, line: Line, angle_rad: float) -> Parts:
    """A piece of the line as a section, or nothing where it has no length."""
    angle = angle_rad % np.pi
    if min(angle, np.pi - angle) < TINY:
        return []
    length = float(angle / (2 * np.pi) * line.wavelength_m(frequency_hz))
    return [(SECTION, replace(line, length_m=length))]


def stub(
    frequency_hz: float, line: Line, *, place: str, end: str, normalised: float
) -> tuple[str, Stub]:
    """The shortest stub of a susceptance times z0 in shunt, of a reactance over z0 in series."""
    # b = tan(beta l) open in shunt (x, short in series); b = -cot(beta l) for the others
    tangent = (place == SHUNT) == (end == "open")
    angle = np.arctan2(normalised, 1) if tangent else np.arctan2(1, -normalised)
    wave = line.wavelength_m(frequency_hz)
    return place, Stub(replace(line, length_m=float(angle % np.pi / (2 * np.pi) * wave)), end)


def single_stub(
    at: Point, *, line: Line, place: str = SHUNT, end: str = "short"
) -> tuple[Network, ...]:
    """A piece of line at the load, and a stub of the same line where it ends; up to two."""
    sign = 1 if place == SHUNT else -1
    # in shunt all is of admittances, whose reflection is the negative one
    rho = sign * complex(from_impedance(at.load_ohm, line.z0))
    wanted = (line.z0 / at.target_ohm) ** sign
    size = abs(rho)
    low, high = (1 - size) / (1 + size), (1 + size) / (1 - size)
    if size < TINY and abs(wanted - 1) < TINY:
        raise MatchingError(MATCHED)
    if not low * (1 - TINY) <= wanted <= high * (1 + TINY) or size < TINY:
        quantity = "conductance" if place == SHUNT else "resistance"
        raise MatchingError(
            f"along a line of {short(line.z0)} ohm this load's {quantity} stays between "
            f"{short(low)} and {short(high)} of the line's, and a {place} stub would need "
            f"{short(wanted)}: use a line of {short(at.target_ohm)} ohm, or an L section"
        )
    # Re (1 - rho e^(j a)) / (1 + rho e^(j a)) = wanted, at an angle a of the turned reflection
    cosine = ((1 - size**2) / wanted - 1 - size**2) / (2 * size)
    angle, found = np.arccos(np.clip(cosine, -1, 1)), []
    for turned in (angle, -angle) if angle > TINY and np.pi - angle > TINY else (angle,):
        imaginary = -2 * size * np.sin(turned) / (1 + size**2 + 2 * size * np.cos(turned))
        parts: Parts = []
        if abs(imaginary) > TINY:
            parts += [stub(at.frequency_hz, line, place=place, end=end, normalised=-imaginary)]
        parts += _section(at.frequency_hz, line, (np.angle(rho) - turned) / 2)
        if parts:
            found.append(Network.of(f"{place} stub, {end}", parts))
    return tuple(found)


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
    sine, cosine = np.sin(spacing), np.cos(spacing)
    turned = complex(from_impedance(at.load_ohm, line.z0)) * np.exp(-2j * first)
    y = (1 - turned) / (1 + turned)
    wanted = line.z0 / at.target_ohm
    # Re of (y cos + j sin)/(cos + j y sin) = wanted: (cos - b sin)^2 = g / wanted - g^2 sin^2
    square = y.real / wanted - (y.real * sine) ** 2
    if square < -TINY:
        limit = 1 / (wanted * sine**2)
        raise MatchingError(
            f"the conductance at the first stub is {short(y.real)} of the line's, and two stubs "
            f"{spacing_waves:.3g} wavelengths apart match none above {short(limit)}: move the "
            "first stub along the line, change the spacing, or use a single stub, which has no "
            "such limit"
        )
    root, found = np.sqrt(max(square, 0)), []
    for sign in (1, -1) if root > TINY else (1,):
        b = (cosine - sign * root) / sine
        inner = y.real + 1j * b
        outer = (inner * cosine + 1j * sine) / (cosine + 1j * inner * sine)
        parts: Parts = []
        for normalised, then in ((-outer.imag, spacing), (b - y.imag, first)):
            if abs(normalised) > TINY:
                parts += [stub(at.frequency_hz, line, place=SHUNT, end=end, normalised=normalised)]
            parts += _section(at.frequency_hz, line, then)
        found += [Network.of(f"double stub, {end}", parts)]
    return tuple(found)


def quarter_wave(at: Point, *, line: Line) -> tuple[Network, ...]:
    """A quarter-wave section and what makes the load real for it.

    Tuned by a reactance in series or in shunt, or by a piece of line to the largest or the
    smallest voltage; alone for a load that is real already.
    """
    y = 1 / at.load_ohm

    def section(resistance: float) -> Parts:
        # Z0 = sqrt(R R0)
        whole = replace(line, z0=float(np.sqrt(resistance * at.target_ohm)))
        return _section(at.frequency_hz, whole, np.pi / 2)

    if abs(at.load_ohm.imag) < TINY * at.target_ohm:
        return (Network.of("quarter wave", section(at.load_ohm.real)),)
    rho = complex(from_impedance(at.load_ohm, line.z0))
    ratio = (1 + abs(rho)) / (1 - abs(rho))
    series = [(SERIES, reactance(at.frequency_hz, -at.load_ohm.imag))]
    shunt = [(SHUNT, reactance(at.frequency_hz, 1 / y.imag))]
    angle = np.angle(rho)
    tuned = (
        ("series part", at.load_ohm.real, series),
        ("shunt part", 1 / y.real, shunt),
        ("line", line.z0 * ratio, _section(at.frequency_hz, line, angle / 2)),
        ("line", line.z0 / ratio, _section(at.frequency_hz, line, (angle + np.pi) / 2)),
    )
    return tuple(
        Network.of(f"quarter wave, {name} at load", section(r) + tuning)
        for name, r, tuning in tuned
    )


def _meetings(load_ohm: complex, target_ohm: float, za: float, zb: float) -> list[complex]:
    """Where the impedance along za from the load meets the one along zb to the target [ohm]."""
    rho = abs(complex(from_impedance(load_ohm, za)))
    low, high = za * (1 - rho) / (1 + rho), za * (1 + rho) / (1 - rho)
    first, last = sorted((target_ohm, zb**2 / target_ohm))
    # two circles of the impedance plane, each with its centre on the real axis
    centre, radius, apart = (low + high) / 2, (high - low) / 2, (first + last - low - high) / 2
    if abs(apart) > TINY * za:
        along = (radius**2 - ((last - first) / 2) ** 2 + apart**2) / (2 * apart)
        square = radius**2 - along**2
        if square >= -TINY * za**2:
            up = 1j * np.sqrt(max(square, 0))
            meeting = centre + along
            return [meeting + up, meeting - up] if up.imag > TINY * za else [complex(meeting)]
    raise MatchingError(
        f"along {short(za)} ohm this load stays between {short(low)} and {short(high)} ohm where "
        f"it is real, and a section of {short(zb)} ohm needs to meet the circle from "
        f"{short(first)} to {short(last)} ohm: take lines further apart in impedance, or a stub"
    )


def two_sections(at: Point, *, near: Line, far: Line) -> tuple[Network, ...]:
    """Two sections, of the line `near` at the load and `far` at the source; up to two designs."""
    za, zb = near.z0, far.z0
    if abs(za - zb) < TINY * za or abs(zb - at.target_ohm) < TINY * zb:
        raise MatchingError(
            "two sections need lines of different impedances, and the one at the source another "
            f"impedance than the target's: {za:.4g} and {zb:.4g} ohm match nothing more"
        )
    found = []
    for meeting in _meetings(at.load_ohm, at.target_ohm, za, zb):
        # a line of length l turns the reflection in its own impedance by -2 beta l
        on_near = from_impedance([at.load_ohm, meeting], za)
        on_far = from_impedance([meeting, at.target_ohm], zb)
        parts = [
            *_section(at.frequency_hz, far, (np.angle(on_far[0]) - np.angle(on_far[1])) / 2),
            *_section(at.frequency_hz, near, (np.angle(on_near[0]) - np.angle(on_near[1])) / 2),
        ]
        if parts:
            found.append(Network.of("two sections", parts))
    return tuple(found)
