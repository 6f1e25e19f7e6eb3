"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.behind import told_at_start, told_by_passing
from rfcal.feedline.changes.compare import compare
from rfcal.feedline.changes.comparison import Comparison, closed
from rfcal.feedline.changes.loss import Lost, measured_more, more_than_stated
from rfcal.feedline.faults import end as line_end
from rfcal.feedline.faults.end import END_REACH, LEAST_LAST
from rfcal.feedline.faults.events import FAULT, Events, find_events, loss_by_droop
from rfcal.feedline.faults.kinds import RESISTIVE, UNCLEAR, Z_STEP
from rfcal.feedline.fit import FarEnds, LineProperties
from rfcal.feedline.measure import (
    FASTEST,
    SLOWEST,
    followed,
    measure_line,
    measure_unfollowed,
)
from rfcal.maths.reflection import Real
from rfcal.models.line import Line
from rfcal.record.format.line import LineCheck
from rfcal.record.format.schema import Measurement
from rfcal.record.results import LineState
from rfcal.uncertainty.quantity import Quantity

OF_LAST = 0.5
"""What a line's end delays by a wide band, in resolutions (standard, by simulation)."""


def line_by_devices(
    wanted: LineCheck,
    state: LineState,
    measurements: Sequence[Measurement],
    at_plane: Callable[[Measurement], tuple[Real, Quantity]],
    z_ref: float,
) -> dict[str, Events]:
    """What the sweeps [1] of devices show of the line that its far end's sweeps remove."""
    seen = {}
    for item in measurements:
        if wanted.reading in item.reading.files:
            seen[item.name] = state.now
        elif state.properties and not item.reading.shows_less:
            frequency, sweep = at_plane(item)
            if np.array_equal(frequency, state.frequency):
                given = frequency, sweep.value, state.properties.line
                seen[item.name] = find_events(*given, z_ref=z_ref)
    return seen


def line_state(
    wanted: LineCheck,
    frequency: Real,
    now: Quantity,
    then: Quantity | None,
    ends: Sequence[Quantity],
    z_ref: float,
) -> LineState:
    """The state of a line by its sweeps at its foot [1]: today's, the baseline's, its far ends'."""
    # one guess of the loss for both sweeps, so that they compare
    foot = _foot(wanted, frequency, then or now, ends, z_ref)
    foot, before = (foot, None) if then is None else _as_baseline_ends(foot, then)
    found = foot.found
    seen, comparison = _against(foot, before, foot.look(now))
    lost = _by_its_end(foot, seen)
    grown = comparison.lost if comparison else lost
    if found:
        lost = measured_more(frequency, found, wanted.line) if wanted.loss_known else None
    if grown is not None:  # so that its end is told as it is
        seen = replace(foot, line=grown.on(foot.line)).look(now)
        seen, comparison = _against(foot, before, seen)
    return LineState(
        now=seen.events,
        before=before and before.events,
        comparison=comparison,
        properties=found,
        length_m=foot.line.length_m,
        length_uncertainty_m=foot.doubts[0],
        frequency=frequency,
        beyond_m=seen.beyond_m,
        end=seen.end,
        lost=lost,
        since=grown if found and then is None else None,
        loss_known=foot.loss_known,
        stated=wanted.line if found and wanted.loss_known else None,
        misstated=foot.misstated,
        unfollowed=bool(found and not wanted.by_length and not followed(frequency, found.delay_s)),
    )


class _Sight(NamedTuple):
    """What a sweep shows of a line."""

    sweep: Quantity  # corrected to the line's foot [1]
    swept: Events  # where they appear
    events: Events  # up to the line's end, and where they are
    folded: bool  # whether that differs, as its far parts fold back
    end: int | None = None  # which of them is the line's end
    beyond_m: float | None = None  # where more reflects from beyond a stated length

    @property
    def end_m(self) -> float | None:
        """Where that end is [m]."""
        return None if self.end is None else float(self.events.distance_m[self.end])

    @property
    def at_end(self) -> tuple[float, str]:
        """What that reflects [1], and its kind."""
        if self.end is None:
            return 0.0, ""
        return float(np.abs(self.events.reflection[self.end])), self.events.kind[self.end]


@dataclass(frozen=True, eq=False)
class _Foot:
    """What is known of a line before what reflects on it is sought."""

    frequency: Real  # [Hz]
    z_ref: float  # [ohm]
    line: Line
    loss_known: bool
    doubts: tuple[float, float]  # standard, of its length [m] and velocity factor [1]
    found: LineProperties | None  # by its own sweeps
    ends: tuple[str, ...] = UNCLEAR  # kinds of what may end it before its stated length
    misstated: tuple[float, float] | None = None  # as in a `LineState`

    def look(self, sweep: Quantity) -> _Sight:
        """What a sweep shows of it."""
        found, usual = self.found, defaults.PATH["impedance"]  # as cables of one type differ
        swept = find_events(
            self.frequency,
            sweep.value,
            self.line,
            loss_known=self.loss_known,
            z_ref=self.z_ref,
            velocity_factor_uncertainty=self.doubts[1],
            z0_uncertainty=found.standard_uncertainty["z0"] / found.line.z0 if found else usual,
            common=sweep.common_changes(),
        )
        return self._ended(sweep, told_at_start(sweep.value, self.z_ref, swept))

    def _ended(self, sweep: Quantity, swept: Events) -> _Sight:
        """Events up to the line's end; more from beyond is told of a stated length alone."""
        length, folded = self.line.length_m, swept.band.folds
        events = line_end.unfolded(swept, length) if folded else swept
        own = line_end.own_delay(events, self.frequency)
        delayed = line_end.with_own_delay(events, own, line_end.strongest_on(events))
        open_ended = _Sight(sweep, swept, delayed, folded)
        if not length:
            return open_ended
        last = length + events.band.near
        # a place that may be two is no end by that
        of_place = np.sqrt(events.distance_uncertainty_m**2 - events.merged_m**2)
        of_length, of_velocity = self.doubts[0], self.doubts[1] / self.line.velocity_factor
        if self.found:  # the same velocity factor stands behind length and events
            of_place = np.sqrt(np.maximum(of_place**2 - (of_velocity * events.distance_m) ** 2, 0))
            of_length = 0.0
        else:
            last += 2 * of_length + 2 * length * of_velocity
        sooner = length if self.found else line_end.sooner_end(events, length, self.ends)
        up_to = last if sooner == length else np.nextafter(sooner, last)
        end = line_end.end_among(events, length, np.hypot(of_place, own) + of_length, up_to)
        whole = not self.found and sooner == length
        beyond = line_end.beyond_end(events, end, last) if whole else None
        if beyond is not None:
            return open_ended._replace(beyond_m=beyond)
        events = line_end.behind_end(events, end, sooner)
        if end is not None:
            events = line_end.with_own_delay(events, own, slice(end, end + 1))
        return _Sight(sweep, swept, events, folded, end)


def _as_baseline_ends(foot: _Foot, then: Quantity) -> tuple[_Foot, _Sight]:
    """The same by the velocity factor that a baseline's end tells where the stated one cannot be.

    And what the baseline shows of it.

    That is an end in the baseline that is not at the line's stated length; another cable loses
    otherwise, too.
    """
    foot = replace(foot, ends=(*UNCLEAR, *RESISTIVE, Z_STEP))  # what is sound has no such joint
    length, seen = foot.line.length_m, foot.look(then)
    if seen.end is not None:  # the length is right
        foot = replace(foot, ends=())
    if foot.found or not length or seen.folded or seen.end is not None or not seen.swept.kind:
        return foot, seen
    swept, last = seen.swept, line_end.strongest_on(seen.swept).start
    place, of_velocity = float(swept.distance_m[last]), foot.doubts[1] / foot.line.velocity_factor
    velocity = foot.line.velocity_factor * length / max(place, swept.band.resolution)
    if not (SLOWEST < velocity < FASTEST and swept.size[last] > LEAST_LAST):
        return foot, seen
    by_wide_band = OF_LAST * swept.band.resolution * (not swept.band.narrow)
    own = line_end.own_delay(swept, foot.frequency)[last] + by_wide_band
    found = swept.distance_uncertainty_m[last] ** 2 - swept.merged_m[last] ** 2
    of_place = np.sqrt(max(found - (of_velocity * place) ** 2, 0.0) + own**2)
    doubt = velocity * float(np.hypot(of_place / place, foot.doubts[0] / length))
    if abs(velocity - foot.line.velocity_factor) < END_REACH * doubt:
        return foot, seen
    line = replace(foot.line, velocity_factor=velocity)
    line = loss_by_droop(foot.frequency, then.value, line, z_ref=foot.z_ref)
    stated, doubts = (foot.line.velocity_factor, doubt), (foot.doubts[0], doubt)
    foot = replace(foot, line=line, loss_known=False, doubts=doubts, misstated=stated)
    return foot, foot.look(then)


def _against(foot: _Foot, then: _Sight | None, now: _Sight) -> tuple[_Sight, Comparison | None]:
    """Today's events by what the baseline, if there is one, knows, and what differs from it."""
    if then is None:
        return now, None
    length, z_ref, loss_known = foot.line.length_m, foot.z_ref, foot.loss_known
    given = foot.frequency, now.sweep, then.sweep, foot.line
    differ = partial(compare, *given, loss_known=loss_known, z_ref=z_ref)
    if now.folded:  # compared as they appear
        found = differ(events=now.swept, baseline=then.swept, end_m=np.inf)
        each = np.array([change.distance_m for change in found.changes])
        places = line_end.unfolded_places(now.swept, each, length).tolist()
        moved = [replace(c, distance_m=d) for c, d in zip(found.changes, places, strict=True)]
        return now, replace(found, changes=tuple(sorted(moved, key=lambda c: c.distance_m)))
    beyond_m = now.beyond_m
    if foot.found:  # as it was when its far end was swept
        beyond_m = line_end.beyond_end(now.swept, now.end, length + now.swept.band.near)
    if beyond_m is not None and then.beyond_m is None and then.end is not None:
        # the length was right in the baseline: the end is where it is now
        end = now.swept.distance_m.tolist().index(beyond_m)
        events = line_end.behind_end(now.swept, end, np.inf)
        now = now._replace(events=events, end=end, beyond_m=None)
    if now.end_m is not None and then.end_m is not None:
        sooner = now.end_m < then.end_m - now.swept.band.near
        if sooner and closed(*then.at_end, *now.at_end):
            now = now._replace(end=None)  # there it broke
    now = now._replace(events=told_by_passing(now.events, then.events))
    stated = np.nan if now.beyond_m is not None or not length else length
    end_m = stated if now.end_m is None else now.end_m
    found = differ(events=now.events, baseline=then.events, end_m=end_m, end_then_m=then.end_m)
    if (shift := found.shift) is None:
        return now, found
    if now.end is None and then.end_m is not None and shift.between_m is not None:
        end = now.events.nearest(then.end_m + shift.size, now.events.band.near)
        if end is not None:
            now = now._replace(events=line_end.behind_end(now.events, end, np.inf), end=end)
    # its metres rest on the velocity factor
    of_velocity = shift.size * foot.doubts[1] / foot.line.velocity_factor
    unsure = float(np.hypot(shift.uncertainty, of_velocity))
    return now, replace(found, shift=replace(shift, uncertainty=unsure))


def _by_its_end(foot: _Foot, seen: _Sight) -> Lost | None:
    """What the line loses more than is known of it, as far as its end tells."""
    tells = foot.loss_known and not (seen.folded or seen.swept.band.narrow)
    # what hardly reflects falls over the band as it likes
    if not tells or seen.end_m is None or seen.at_end[0] < FAULT:
        return None
    return more_than_stated(seen.swept.echoes, seen.end_m)


def _foot(
    wanted: LineCheck, frequency: Real, sweep: Quantity, ends: Sequence[Quantity], z_ref: float
) -> _Foot:
    """What is known of a line: by sweeps with its far end open or short [1], else as stated."""
    line, loss_known, found = wanted.line, wanted.loss_known, None
    if ends:
        seen = dict(zip((end for end, _ in wanted.far_ends), ends, strict=True))
        swept = FarEnds(frequency, seen, z_ref, defaults.PATH["far end"])
        if wanted.by_length:
            found = measure_line(swept, length_m=line.length_m)
        else:
            v = line.velocity_factor
            found = measure_unfollowed(swept, v) or measure_line(swept, velocity_factor=v)
        line, loss_known = found.line, True
    elif not loss_known:
        line = loss_by_droop(frequency, sweep.value, line, z_ref=z_ref)
    return _Foot(frequency, z_ref, line, loss_known, _doubts(wanted, line, found), found)


def _doubts(wanted: LineCheck, line: Line, found: LineProperties | None) -> tuple[float, float]:
    """Standard uncertainties of length [m] and velocity factor [1]: the delay ties them."""
    of_delay = found.standard_uncertainty["delay"] / found.delay_s if found else 0.0
    if wanted.by_length:
        relative = float(np.hypot(wanted.doubt["length"] / line.length_m, of_delay))
        return wanted.doubt["length"], line.velocity_factor * relative
    of_velocity = wanted.doubt["velocity factor"]
    relative = float(np.hypot(of_velocity / line.velocity_factor, of_delay))
    return line.length_m * relative if found else wanted.doubt.get("length", 0.0), of_velocity
