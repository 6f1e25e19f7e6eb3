"""Whether a line loses more than it did, or than is stated, all along it: by its end's echo.

Old or wet cable takes more of the wave on every metre, and more of it the higher the frequency; a
joint or another end changes the echo by a factor that goes otherwise over the band.
"""

from dataclasses import dataclass, replace

import numpy as np

from rfcal import defaults
from rfcal.feedline.faults.basis import Band
from rfcal.feedline.faults.echoes import Echoes
from rfcal.feedline.fit import LineProperties
from rfcal.maths.bounded import nonnegative
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import NEPER_PER_DB, Line
from rfcal.uncertainty.coverage import K_AXIS

AGED_DB = 0.3
"""Loss is told from weather where it is more than this, one way to the end, too."""

EXPLAINED = 0.1
"""Loss explains what an echo lost but for this part of it, or twice that where it is certain."""

BY_SLOPE = 0.1
"""Standard uncertainty of a loss by the slope of one echo alone, in parts of it: what the end and
the line's impedance add to the slope (by simulation)."""

MOST_DB = 10.0
"""An echo that lost more than this one way [dB] went with its end, where loss is not certain."""

SURELY = 3.0
"""More than a stated loss is this many standard uncertainties more than it for certain; what is
outside the 95 % interval is it perhaps."""

BENT = 0.8
"""Loss goes over the band as weather's where its bend alone tells of as much, within this part and
its inverse: what the end itself takes up bends little (by simulation)."""

TELLS, SHARE = 3.0, 0.65
"""It is loss for certain where a factor alike over the band leaves this many times more of it:
beside an end that changed too, in most of the band, which is so much of it (by simulation)."""

OUTSIDE, TURNS = 4.7, 30
"""What is off by more than the first of these deviations does not count there (the biweight, J. W.
Tukey; value from memory), after so many rounds."""

OF_LOSS = 0.05
"""Standard uncertainty of such a loss, in parts of it (by simulation)."""


@dataclass(frozen=True)
class Lost:
    """By how much the matched loss of a line has grown, all along it."""

    conductor: float  # at 1 MHz [Np/m], goes with the root of frequency
    dielectric: float  # at 1 MHz [Np/m], goes with frequency
    length_m: float  # up to the line's end
    at_hz: float  # middle of the band
    uncertainty_db: float  # standard, of `more_db`: what the law leaves of the echo
    sure: bool  # whether it cannot as well be another end, or chance
    inside: float = 1.0  # reactance that grew with the conductors' resistance, over that [1]
    share: float = 0.0  # of the line's loss, if heat or cold alone may make it [1]

    @property
    def mild(self) -> bool:
        """Whether that may be no more than weather makes it."""
        return abs(self.share) * (1 - K_AXIS * BY_SLOPE) < defaults.WEATHER_LOSS

    @property
    def more_db(self) -> float:
        """One way to the end, in the middle of the band [dB]."""
        lost = self.growth(np.array([self.at_hz]))[0].real
        return float(lost * self.length_m / NEPER_PER_DB)

    def growth(self, frequency: Real) -> Complex:
        """What the propagation has gained [Np/m + j rad/m]."""
        megahertz = frequency / 1e6
        # the skin effect leaves as much reactance inside conductors as resistance
        conductor = (1 + self.inside * 1j) * self.conductor * np.sqrt(megahertz)
        return np.asarray(conductor + self.dielectric * megahertz)

    def on(self, line: Line) -> Line:
        """The line as it is now."""
        conductor, dielectric = (
            each * 100 / NEPER_PER_DB for each in (self.conductor, self.dielectric)
        )
        whole = max(line.conductor_db + conductor, 1e-12)
        skin = line.skin + (self.inside - line.skin) * conductor / whole
        dielectric += line.dielectric_db
        return replace(line, conductor_db=whole, dielectric_db=dielectric, skin=skin)


def grown(then: Echoes, now: Echoes, end_m: float | None) -> Lost | None:
    """What a line loses more in the later of two sweeps, where that explains its end's echo.

    The strongest echo is the end's where the end is not known [m].
    """
    if not then.distance.size:
        return None
    end_m = _end(then, end_m)
    return _fitted(then, _from(then, end_m), _from(now, end_m), end_m, free=False)


def beside_end(then: Echoes, now: Echoes, end_m: float | None) -> tuple[Lost | None, bool]:
    """What a line loses more where its end changed too, and whether it may lose more unseen.

    Another end changes its echo in a part of a wide band, and loss all of it.
    """
    end_m, band = _end(then, end_m), then.band
    if band.narrow or end_m < band.resolution:
        return None, True
    before, after = (
        each.whole() - each.model(each.distance < end_m - band.near) for each in (then, now)
    )
    fallen, _, weight = _fallen(band, before, after)
    laws = _laws(band, end_m)
    parts, left, share = _of_most(laws, fallen, weight)
    _, flat, _ = _of_most(np.ones_like(laws[:, :1]), fallen, weight)
    found, least = _lost(band, end_m, parts, left, sure=True), _least_db(band, end_m)
    doubt = float(np.hypot(found.uncertainty_db, OF_LOSS * found.more_db))
    if flat > TELLS * left and share > SHARE and found.more_db > least:
        return replace(found, uncertainty_db=doubt), False
    return None, found.more_db + K_AXIS * doubt > least


def _of_most(columns: Real, seen: Real, weight: Real) -> tuple[Real, float, float]:
    """Parts of columns that make up most of what was seen, what they leave of that, and its share.

    The absolute values of what is left count first, and then only those of one lot.
    """
    counts = np.ones(seen.size)
    for turn in range(TURNS):
        each = weight * np.sqrt(counts)
        parts, _ = nonnegative(columns * each[:, None], seen * each)
        off = np.abs(seen - columns @ parts)
        order = np.argsort(off)
        half = np.searchsorted(np.cumsum(weight[order] ** 2), 0.5)
        left = max(1.48 * float(off[order[half]]), 1e-6)  # of a normal distribution
        counts = 1 / np.maximum(off, 0.1 * left)
        if turn > TURNS // 2:
            counts = np.clip(1 - (off / (OUTSIDE * left)) ** 2, 0, None) ** 2
    return parts, left, float(weight**2 @ counts)


def by_weather(
    then: Echoes, now: Echoes, end_m: float | None, line: Line, *, moved: bool
) -> Lost | None:
    """What a line loses more, or less, by too little to be `grown`, as its end's echo has it.

    None where that has not changed as loss does over the band, or nobody can tell. Of a line that
    has `moved` all along it, as warmth makes it, another end may hide how that changed.
    """
    band = then.band
    attenuation = line.propagation(band.frequency).real
    if not (then.distance.size and np.any(attenuation)):
        return None
    end_m = _end(then, end_m)
    if end_m <= 0:  # a band so narrow does not even tell where
        return None
    fallen, _, weight = _fallen(band, *(_from(echoes, end_m) for echoes in (then, now)))
    law = 2 * end_m * attenuation
    # weighted least squares of fallen = share law, and of fallen = share law + constant
    laws = law, law - weight**2 @ law
    share, by_bend = (float(weight**2 @ (x * fallen) / (weight**2 @ x**2)) for x in laws)
    if band.narrow:
        by_bend = share  # that shows no bend
    elif not moved and not BENT * abs(share) < np.sign(share) * by_bend < abs(share) / BENT:
        return None
    whole = _whole_db(band, end_m)
    most = max(AGED_DB / whole, defaults.NO_WEATHER_LOSS)
    doubt = np.hypot(BY_SLOPE * share, by_bend - share)
    share = float(np.clip(share, -most, most))
    c, e = (share * db * NEPER_PER_DB / 100 for db in (line.conductor_db, line.dielectric_db))
    return Lost(c, e, end_m, band.middle, whole * float(doubt), sure=False, share=share)


def more_than_stated(now: Echoes, end_m: float) -> Lost | None:
    """What a line loses more than is stated, by its end if that reflects alike over the band.

    How much that reflects is not known: only how it falls with frequency tells.
    """
    lossless = np.exp(-2 * end_m * now.band.propagation)
    found = _fitted(now, lossless, _from(now, end_m), end_m, free=True)
    if found is None or not found.sure:
        return None
    doubt = SURELY * defaults.PATH["loss"] * _whole_db(now.band, end_m)
    return found if found.more_db - SURELY * found.uncertainty_db > doubt else None


def measured_more(frequency: Real, found: LineProperties, stated: Line) -> Lost | None:
    """What a line loses more by its own sweeps than its type does."""
    line, middle = found.line, np.array([np.mean(frequency)])
    conductor = (line.conductor_db - stated.conductor_db) * NEPER_PER_DB / 100
    dielectric = (line.dielectric_db - stated.dielectric_db) * NEPER_PER_DB / 100
    usual = float(stated.loss_db_per_100m(middle)[0]) * line.length_m / 100
    doubt = float(np.hypot(found.loss_db(middle)[1][0], defaults.PATH["loss"] * usual))
    lost = Lost(conductor, dielectric, line.length_m, float(middle[0]), doubt, True)
    if lost.more_db < max(AGED_DB, K_AXIS * doubt):
        return None
    return replace(lost, sure=lost.more_db > SURELY * doubt)


def _whole_db(band: Band, end_m: float) -> float:
    """The loss of the line as known, one way [dB]."""
    return float(np.average(band.attenuation, weights=band.weight)) * end_m / NEPER_PER_DB


def _least_db(band: Band, end_m: float) -> float:
    """More loss than this, one way, is no weather [dB]."""
    return max(AGED_DB, defaults.NO_WEATHER_LOSS * _whole_db(band, end_m))


def _lost(band: Band, end_m: float, parts: Real, doubt: float, *, sure: bool) -> Lost:
    """What these parts of the laws are; the doubt is that of there and back [Np]."""
    conductor, dielectric = parts[:2].tolist()
    return Lost(conductor, dielectric, end_m, band.middle, doubt / 2 / NEPER_PER_DB, sure)


def _end(echoes: Echoes, end_m: float | None) -> float:
    """Where the line ends [m]; if that is not known, where the strongest echo comes from."""
    return float(echoes.distance[np.argmax(echoes.at_foot())]) if end_m is None else end_m


def _from(echoes: Echoes, end_m: float) -> Complex:
    """What comes back from the line's end, and what rings behind it."""
    return echoes.model(echoes.distance > end_m - echoes.band.near)


def _fallen(band: Band, before: Complex, after: Complex) -> tuple[Real, Real, Real]:
    """By how much an echo fell [Np], how large it is now [1], and what weight that has (3, F)."""
    size, now = np.maximum(np.abs([before, after]), 1e-9)
    weight = np.sqrt(band.weight) * size * now / np.hypot(size, now)
    return np.log(size / now), now, weight / np.linalg.norm(weight)


def _laws(band: Band, end_m: float) -> Real:
    """What losses of 1 Np/m at 1 MHz in conductors and dielectric take there and back, (F, 2)."""
    megahertz = band.frequency / 1e6
    return 2 * end_m * np.stack([np.sqrt(megahertz), megahertz], axis=1)


def _fitted(
    echoes: Echoes, before: Complex, after: Complex, end_m: float, *, free: bool
) -> Lost | None:
    """The growth of loss that makes one echo the other; with a factor below 1 if that is free."""
    band = echoes.band
    if end_m < band.resolution:
        return None
    # ln|after / before| = ln|factor| - 2 d (c sqrt(f) + e f)
    fallen, now, weight = _fallen(band, before, after)
    laws = _laws(band, end_m)
    columns = np.column_stack([laws, np.ones(fallen.size)]) if free else laws
    parts, left = nonnegative(columns * weight[:, None], fallen * weight)
    flat = float(np.linalg.norm((fallen - weight**2 @ fallen) * weight))
    noise = np.std(echoes.left) * weight / now  # of `fallen`, weighted
    # what of it is left in the loss: the gain of the weighted fit of what is not zero
    used = columns * (parts > 0)
    law = weight**2 @ used * (np.arange(parts.size) < 2)
    gain, by_mean = law @ np.linalg.pinv(used * weight[:, None]), float(law @ parts)
    doubt = float(np.linalg.norm([*gain * noise, left, free * BY_SLOPE * by_mean]))
    found = _lost(band, end_m, parts, doubt, sure=flat > TELLS * max(left, echoes.noise))
    explained = left < min(EXPLAINED * (1 + found.sure) * by_mean, flat)
    likely = _least_db(band, end_m) < found.more_db < (np.inf if found.sure else MOST_DB)
    return found if explained and likely else None
