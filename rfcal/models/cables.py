"""Cables by name: figures of generic and military-type cables, each with its source and trust.

Tables of one type differ by 10 to 20 % between makers and years, and a cable ages: a measured
line always beats its name. How far the tables of a type lie apart is a fact of that type, as its
loss is: it stands here and not in `defaults.PATH`, which is for lines of no known type.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rfcal import defaults
from rfcal.maths.arguments import choice, deviations
from rfcal.models.line import UNCERTAIN, Line, loss_law

_COMPENDIUM = "nine-point table quoted in ARRL Antenna Compendium vol. 6 (1999)"
_VENDOR = "data sheets of a European cable vendor, rounded"
_ALMANAC = "radio amateur pocket almanac, 2023"
_MEMORY = "value from memory"


@dataclass(frozen=True)
class Cable:
    """What a cable of one type is said to be."""

    z0: float  # characteristic impedance [ohm]
    velocity_factor: float  # speed on the cable over the speed of light [1]
    loss: tuple[tuple[float, float], ...]  # matched loss: rows of MHz, dB per 100 m
    source: str
    loss_doubt: float  # relative standard uncertainty of the loss [1]: how far tables lie apart
    z0_doubt: float = defaults.PATH["impedance"]  # the same of the impedance [1]

    def line(self, length_m: float) -> Line:
        """A piece of this cable, with the loss law fitted to the table, and as tables differ."""
        known = {"impedance": self.z0_doubt * self.z0, "loss": self.loss_doubt}
        losses = loss_law(self.loss)
        return Line(length_m, self.velocity_factor, self.z0, *losses, uncertainty=known)


def _rows(decibels: str, megahertz: tuple[int, ...] = (10, 50, 100, 200, 500, 1000)):
    pairs = zip(megahertz, decibels.split(), strict=True)
    return tuple((float(f), float(db)) for f, db in pairs if db != "-")


_USUAL = (10, 50, 100, 200, 400, 1000)
CABLES: Mapping[str, Cable] = {
    "RG-58A": Cable(
        50, 0.66, _rows("4.59 10.83 16.08 23.95 37.73 70.54", _USUAL), _COMPENDIUM, 0.05
    ),
    "RG-58C": Cable(50, 0.66, _rows("4.7 10.7 15.3 22.8 37.0 55.5"), _VENDOR, 0.1),
    "RG-213": Cable(50, 0.66, _rows("1.8 4.4 6.8 9.7 16.2 24.5"), _VENDOR, 0.1),
    "RG-8": Cable(50, 0.66, _rows("2.0 4.8 7.8 10.6 17.2 27.5"), _VENDOR, 0.1),
    "RG-174": Cable(50, 0.66, _rows("9.6 21.8 31.1 44.5 72.7 106.1"), _VENDOR, 0.1),
    "RG-316": Cable(50, 0.70, _rows("- 19.2 28.7 - - 104.8"), _VENDOR, 0.1),
    "RG-178": Cable(50, 0.70, _rows("- 38.0 52.5 65.3 - 170"), _VENDOR, 0.15),
    "RG-8X": Cable(50, 0.80, _rows("2.95 6.89 10.17 14.76 21.65 36.75", _USUAL), _MEMORY, 0.15),
    "foam 10 mm": Cable(
        50, 0.87, _rows("1.2 2.4 3.5 5.0 7.6 13.6", (10, 50, 100, 200, 432, 1296)), _ALMANAC, 0.1
    ),
    "foam 5 mm": Cable(
        50, 0.85, _rows("2.9 7.0 9.4 12.9 19 34.5", (10, 50, 100, 200, 432, 1296)), _ALMANAC, 0.1
    ),
    "ladder line 450 ohm": Cable(450, 0.92, _rows("0.3 - 1.1 - - -"), _MEMORY, 0.3, 0.05),
}
"""Cables by the name that a record uses."""


def cable_type(name: str) -> str:
    """The type that a name means, however it is spelt; the name itself where it means none."""
    plain = _plain(name)
    return _SPELT.get(plain) or _SPELT.get(plain.removesuffix("u"), name)


def _plain(name: str) -> str:
    """Letters and digits of a name alone: ``"RG 58C/U"`` is ``"rg58cu"``."""
    return "".join(filter(str.isalnum, name)).lower()


# without its letter it is any of a kind, and their tables differ by less than the doubt of this one
_SPELT = {"rg58": "RG-58C", **{_plain(kind): kind for kind in CABLES}}


def cable(kind: str, length_m: float, *, uncertainty: Mapping[str, float] | None = None) -> Line:
    """A piece of a cable known by its type.

    Parameters
    ----------
    kind : str
        Type, such as ``"RG-213"``, ``"rg 213/u"`` or ``"foam 10 mm"``; an unknown one is
        answered with all.
    length_m : float
        Physical length [m].
    uncertainty : mapping of str to float, optional
        As for `Line`; loss and impedance are as uncertain as tables of the type differ by default.

    Returns
    -------
    Line
        With the velocity factor, impedance and loss of its type.

    Examples
    --------
    >>> line = cable("RG-213", 12.4, uncertainty={"length": 0.005})
    >>> print(line.velocity_factor, f"{line.loss_db_per_100m(100e6):.2f} dB per 100 m")
    0.66 6.42 dB per 100 m
    """
    kind = cable_type(kind) if isinstance(kind, str) else kind
    choice(kind, "the type of a cable", CABLES)
    line = CABLES[kind].line(length_m)
    stated = {} if uncertainty is None else deviations(uncertainty, "a cable", UNCERTAIN)
    return replace(line, uncertainty={**line.uncertainty, **stated})
