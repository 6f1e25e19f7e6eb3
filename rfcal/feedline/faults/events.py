"""From a sweep of a line's reflection to what reflects on it, and how far away.

Where echoes come from, `rfcal.feedline.faults.echoes`; here they become events of a kind at a
distance, those of one uniform line, or are gated.
"""

from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.feedline.faults.basis import Band, prepare
from rfcal.feedline.faults.echoes import DYNAMIC_DB, SOUGHT, STANDS_OUT, Echoes, find_echoes, placed
from rfcal.feedline.faults.kinds import GAP, GOES_ON, LOSSIEST, Reflections, seems_off
from rfcal.feedline.faults.runs import tell_kinds
from rfcal.maths.reflection import Complex, Real, renormalise
from rfcal.models.line import NEPER_PER_DB, Line

MORE = 3.5
"""An event is one when it is this many times what one deviation of the common influences makes."""

MOST_GAIN = 10.0
"""What seems to reflect more than this [1] lies before the plane, folded back, and is no event."""

FAULT = 0.05
"""Reflection [1] from which a place on a line without a baseline is called a fault: sound joints
have 26 dB of return loss or more (common practice, no source)."""

DIP, INNER = 0.4, 0.05
"""What comes from a place dips where it is below the first of these parts of the most on either
side, as antennas do in resonance and no joint before an open end makes it (by simulation); looked
for where the window is above the second of its height."""

RINGS_ON = 6.0
"""What reflects less behind a place within so many resolutions may be part of its answer; and what
folds back so near behind a line's end rings there."""

GUESS = 0.3
"""Standard uncertainty of a loss that is not known but taken from an echo's droop [1, relative]."""


@dataclass(frozen=True, eq=False)
class Events:
    """What reflects along a line, near to far."""

    distance_m: Real  # from the reference plane, shape (K,)
    # standard: noise, misfit nearby, velocity factor, and what is merged
    distance_uncertainty_m: Real
    merged_m: Real  # the last alone: how far it may be that of two seen as one, shape (K,)
    # in the line [1], shape (K,): mean over the band, the line's loss made good; what nearer events
    # keep back is not
    reflection: Complex
    # standard, of each of its parts [1]: noise, misfit nearby, and what is common to all
    # frequencies
    reflection_uncertainty: Real
    kind: tuple[str, ...]  # as `rfcal.feedline.faults.kinds` names them
    fits: tuple[tuple[str, ...], ...]  # kinds that fit each of those whose kind is not known
    # least reflection that stands out at each distance of the trace, of what calibration and the
    # line's figures leave too, by the loss as known or guessed [1], shape (G,)
    least: Real
    magnitude: Real  # of the trace [1], the line's loss made good while it leaves a billionth
    velocity_factor: float  # that the distances rest on
    z0: float  # of the line [ohm]
    echoes: Echoes  # that they are taken from
    bounces_m: Real  # where something only seems to reflect, by bouncing between places

    @property
    def band(self) -> Band:
        """The sweep that they are of."""
        return self.echoes.band

    @property
    def size(self) -> Real:
        """How much each reflects [1], shape (K,)."""
        return np.abs(self.reflection)

    @property
    def seen_m(self) -> float:
        """As far as a `FAULT` stands out [m]."""
        hidden = self.least > FAULT
        return float(self.band.grid[np.argmax(hidden)]) if np.any(hidden) else self.band.range

    def nearest(self, where_m: float, within_m: float) -> int | None:
        """The event that is nearest to a place, if it is as near as that."""
        off = np.abs(self.distance_m - where_m)
        return int(np.argmin(off)) if np.min(off, initial=np.inf) < within_m else None

    def alike(self, at: int, other: "Events", there: int) -> float:
        """To what part all from a place and beyond goes over the band as in another sweep [1]."""
        one, two = self._answer(at), other._answer(there)
        both = max(float(np.linalg.norm(one) * np.linalg.norm(two)), 1e-300)  # none where merged
        return float(np.vdot(one, two).real) / both

    def dip(self, at: int) -> tuple[int, float] | None:
        """At which point what comes from a place and beyond is least, and how much that is [1].

        Nothing unless that is a resonance, which no open or short has, whatever it reflects by a
        mean over the band; and of an end that is folded back, none is known.
        """
        band, beyond = self.band, self.echoes.distance > self.distance_m[at] - self.band.near
        inner = np.flatnonzero(band.weight > INNER * np.max(band.weight))
        size = np.abs(self.echoes.model(beyond) + self.echoes.left)[inner]
        size *= np.exp(2 * self.distance_m[at] * band.attenuation[inner])
        least = int(np.argmin(size))
        sides = np.max(size[: least + 1]), np.max(size[least:])
        deep = size[least] < DIP * min(sides)
        deep &= not band.folds
        return (int(inner[least]), float(size[least])) if deep else None

    def _answer(self, at: int) -> Complex:
        """All that comes from a place and beyond, as if it were here, weighed over the band [1]."""
        echoes, where = self.echoes, float(self.distance_m[at])
        back = np.sqrt(echoes.band.weight) * np.exp(2 * where * echoes.band.propagation)
        return back * echoes.model(echoes.distance > where - self.band.near)


def in_line(
    frequency: Real,
    reflection: Complex,
    line: Line,
    loss_known: bool,
    z_ref: float,
    common: Complex | None,
    of_z0: float = 0.0,
) -> tuple[Complex, Complex]:
    """The sweep in the line's impedance, and its common changes (N, F) in it.

    A loss that is a guess makes a guess of the impedance's departure from a resistance: the
    resistance is taken then, and what the departure would change is one more common change. So is
    what one standard uncertainty of the impedance does [1, relative].
    """
    real = np.full(frequency.size, line.z0, complex)
    by_loss = line.impedance(frequency)
    impedance = by_loss if loss_known else real
    moved = [renormalise(reflection, z_ref, impedance)]
    if not loss_known:
        moved.append(renormalise(reflection, z_ref, by_loss))
    if of_z0:
        moved.append(renormalise(reflection, z_ref, impedance * (1 + of_z0)))
    if common is not None:
        moved += [*renormalise(reflection + common, z_ref, impedance)]
    return moved[0], np.array(moved[1:]).reshape(-1, frequency.size) - moved[0]


def loss_by_droop(frequency: Real, reflection: Complex, line: Line, *, z_ref: float) -> Line:
    """A line with as much conductor loss as makes its strongest echo fall with frequency.

    Of an echo that keeps its strength the fall is the conductors' there and back, and what lies
    inside them delays it by as much; an end that itself changes over the band misleads it, so no
    more is believed than the lossiest of usual cables has.
    """
    line = replace(line, conductor_db=0.0, dielectric_db=0.0)
    seen, places = renormalise(reflection, z_ref, line.z0), np.zeros(0)
    for _ in range(3):  # the phase of one guess makes the next a better one
        band = prepare(frequency, reflection, line, loss_known=False)
        echoes = find_echoes(band, seen, places)
        places = echoes.distance
        if not echoes.distance.size:
            break
        distance = float(echoes.distance[np.argmax(np.abs(echoes.mean))])
        if distance < band.resolution:
            break
        # with what the fit split off it: ln|echo| = ln|r| - 2 a d sqrt(f)
        whole = echoes.model(np.abs(echoes.distance - distance) < 3 * band.resolution)
        root = np.sqrt(band.frequency / 1e6)
        slope = np.polyfit(root, np.log(np.abs(whole) + 1e-12), 1, w=np.sqrt(band.weight))[0]
        in_db = -float(slope) / 2 / distance * 100 / NEPER_PER_DB
        line = replace(line, conductor_db=min(max(in_db, 0.0), LOSSIEST))
    return line


def _parted(echoes: Echoes, strongest: np.ndarray) -> tuple[np.ndarray, Real]:
    """Of echoes, strongest first, those that can be told apart; and what is part of each [1].

    They were further apart when found, but the fit may have moved them.
    """
    size, kept = np.abs(echoes.mean), np.zeros(0, int)
    beside = np.zeros(size.size)
    for m in strongest:
        off = np.abs(echoes.distance[kept] - echoes.distance[m])
        if np.all(off >= echoes.band.near):
            kept = np.append(kept, m)
        else:
            owner = kept[np.argmin(off)]
            beside[owner] = np.hypot(beside[owner], size[m])
    return kept, beside


def _told(
    echoes: Echoes, shared: Complex, of_velocity: float, loss_known: bool
) -> tuple[Reflections, Real, Real]:
    """The events among echoes, how sure their places are as found, and where waves bounce to [m].

    Standard uncertainties.
    """
    single, of_distance, of_size = placed(echoes)
    moved, size = echoes.moved_by(shared), np.abs(echoes.mean)
    of_common = np.linalg.norm(moved, axis=0) / np.sqrt(2)
    # |r|^2 > MORE s |r|, s of what they make along it: an impedance moves a foot one way only
    along = np.linalg.norm((moved * echoes.mean.conj()).real, axis=0)
    real = np.flatnonzero(single & (size**2 > MORE * along) & (size < MOST_GAIN))
    kept, beside = _parted(echoes, real[np.argsort(-echoes.at_foot()[real])])
    # what lies nearer than the strongest is none of what rings in that, however much does
    nearer = echoes.distance[kept] < np.min(echoes.distance[kept[:1]], initial=np.inf)
    real = np.sort(kept[nearer | (np.arange(kept.size) < SOUGHT // 2)])
    distance, of_distance, beside = echoes.distance[real], of_distance[real], beside[real]
    of_size = np.hypot(of_size, of_common)[real]
    phase, by_velocity = _unsure(echoes.band, distance, of_distance, of_velocity, loss_known)
    each = echoes.coefficients[real], of_size, phase, beside, *_answers(echoes, real)
    told = Reflections(echoes.band, distance, *each, loss_known, np.zeros(real.size))
    of_place = np.linalg.norm([of_distance, by_velocity, _leaked(echoes)[real]], axis=0)
    return told, of_place, echoes.distance[~single]


def _leaked(echoes: Echoes) -> Real:
    """How far what stays of a stronger echo moves each place [m], standard."""
    size = np.maximum(echoes.at_foot(), 1e-12)
    stays = 10 ** (-DYNAMIC_DB / 20) * np.max(size, initial=0) * (size < np.max(size, initial=0))
    return np.asarray(stays / size / echoes.band.per_metre)


def _answers(echoes: Echoes, real: np.ndarray) -> tuple[Complex, np.ndarray]:
    """All that comes from each place, with what rings in it, as if it were here [1], (K, F).

    And which other places may ring in it (K, K).
    """
    band, distance, size = echoes.band, echoes.distance, np.abs(echoes.mean)
    off = (distance - distance[real, None]) / band.resolution
    near, weak = (off > -1) & (off < RINGS_ON), size < GOES_ON * size[real, None]
    place = np.isin(np.arange(size.size), real)
    own = np.arange(size.size) == real[:, None]
    back = np.exp(2 * distance[real, None] * band.propagation)
    return ((near & (weak | ~place)) | own) @ echoes.parts() * back, (near & weak)[:, real]


def find_events(
    frequency: Real,
    reflection: Complex,
    line: Line,
    *,
    loss_known: bool = True,
    z_ref: float = defaults.REFERENCE_OHM,
    velocity_factor_uncertainty: float = 0.0,
    z0_uncertainty: float = 0.0,
    common: Complex | None = None,
) -> Events:
    """What reflects along a line, from an evenly spaced sweep at its foot.

    Left out is what is no fault: what the calibration leaves, at the foot by directivity, at twice
    the distance of a strong end by source match, or an impedance off by its `z0_uncertainty` [1].
    `common` is what one deviation of influences common to all frequencies changes, (N, F).
    """
    band = prepare(frequency, reflection, line, loss_known)
    given = loss_known, z_ref, common, z0_uncertainty
    seen, shared = in_line(band.frequency, reflection, line, *given)
    echoes, of_velocity = find_echoes(band, seen), velocity_factor_uncertainty
    told, of_place, bounces = _told(echoes, shared, of_velocity / line.velocity_factor, loss_known)
    kinds, fits = tell_kinds(told)
    # what rings in a gap is part of the answer by which that is told, and no place
    own = ~np.any(told.rings[np.array(kinds) == GAP.name], axis=0)
    distance = told.distance + told.off
    before_plane = np.minimum(distance, 0.0)  # what seems to lie there is at the plane
    off = np.linalg.norm([of_place, before_plane, seems_off(told, kinds), told.merged], axis=0)
    return Events(
        distance_m=(distance - before_plane)[own],
        distance_uncertainty_m=off[own],
        merged_m=told.merged[own],
        reflection=told.mean[own],
        reflection_uncertainty=told.uncertainty[own],
        kind=tuple(compress(kinds, own)),
        fits=tuple(compress(fits, own)),
        least=_least(echoes, seen, told),
        magnitude=np.abs(band.trace(seen)) / band.fade(band.grid),
        velocity_factor=line.velocity_factor,
        z0=line.z0,
        echoes=echoes,
        bounces_m=bounces,
    )


def _least(echoes: Echoes, seen: Complex, told: Reflections) -> Real:
    """What stands out of noise and of what stays of stronger echoes at each distance [1], (G,).

    Of many places (K,) the faintest hides as much, behind the strongest.
    """
    band = echoes.band
    whole, left = (float(np.max(np.abs(band.trace(each)))) for each in (seen, echoes.left))
    stays = max(STANDS_OUT * echoes.noise, left, 10 ** (-DYNAMIC_DB / 20) * whole)
    least = np.full(band.grid.size, stays)
    if (size := told.size * band.fade(told.distance)).size >= SOUGHT // 2:
        strongest = told.distance[np.argmax(size)]
        hidden = np.min(size[told.distance >= strongest])
        least[band.grid >= strongest] = max(stays, hidden)
    return least / band.kept(band.grid)


def _unsure(
    band: Band, distance: Real, of_distance: Real, of_velocity: float, loss_known: bool
) -> tuple[Real, Real]:
    """Standard uncertainties of phases [rad], and of places by the line's own figures [m]."""
    phase, by_velocity = band.turn * of_distance, distance * of_velocity
    if loss_known:
        return phase, by_velocity
    # a guess of the loss: of the phase inside the conductors, and half of that of the place
    guessed = GUESS * distance * np.mean(2 * band.propagation.imag - band.turn)
    return np.hypot(phase, guessed), np.hypot(by_velocity, guessed / band.turn / 2)


def gate(
    frequency: Real,
    reflection: Complex,
    line: Line,
    *,
    start_m: float,
    stop_m: float,
    loss_known: bool = True,
    z_ref: float = defaults.REFERENCE_OHM,
) -> Complex:
    """What a stretch of line alone reflects, as seen from the foot in the line's impedance [1].

    That is what of the sweep was fitted as echoes there, so the band's edges suffer little.
    """
    band = prepare(frequency, reflection, replace(line, length_m=0.0), loss_known)
    if not (-band.resolution <= start_m <= stop_m - band.resolution <= band.range):
        raise CalibrationError(
            f"a gate from {start_m} m to {stop_m} m cannot be: make it {band.resolution:.3g} m "
            f"or wider, between 0 and {band.range:.4g} m"
        )
    seen, _ = in_line(band.frequency, reflection, line, loss_known, z_ref, None)
    echoes = find_echoes(band, seen)
    return echoes.model((echoes.distance >= start_m) & (echoes.distance <= stop_m))
