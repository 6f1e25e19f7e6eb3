"""``[line_check]``: how a record asks for the state of a line."""

from dataclasses import dataclass

from rfcal import defaults
from rfcal.models.cables import CABLES
from rfcal.models.line import Line, loss_law
from rfcal.record.format.keys import Keys
from rfcal.record.format.path import LONGEST_M, MOST_DOUBT, loss_rows, velocity_factor


@dataclass(frozen=True)
class LineCheck:
    """``[line_check]``: a sweep of a line, searched for what reflects on the way.

    Parameters
    ----------
    reading : str
        The sweep's file.
    baseline : str, optional
        An earlier sweep of the same line.
    far_ends : tuple of (float, str)
        What the far end reflected (1 open, -1 short) and the sweep's file, for the line itself.
    line : Line
        Velocity factor, impedance and loss; length 0 where the record does not state it.
    loss_known : bool
        Whether the record states the loss.
    doubt : mapping of str to float
        Standard uncertainties of ``velocity factor`` [1] and ``length`` [m], of what is stated.
    assumed : tuple of str
        Keys of `doubt` that the record does not state.
    by_length : bool
        Whether the velocity factor follows from the length and the measured delay.
    """

    reading: str
    baseline: str | None
    far_ends: tuple[tuple[float, str], ...]
    line: Line
    loss_known: bool
    doubt: dict[str, float]
    assumed: tuple[str, ...]
    by_length: bool


def read_line_check(keys: Keys, z_ref: float) -> LineCheck:
    """The line check of a record.

    Parameters
    ----------
    keys : Keys
        The table ``[line_check]``.
    z_ref : float
        Reference impedance of the record [ohm], taken for the line's where nothing is stated.

    Returns
    -------
    LineCheck
        The check.

    Raises
    ------
    RecordError
        Names the key at fault.
    """
    keys.only(
        (
            *("reading", "baseline", "far_end_open", "far_end_short", "line", "velocity_factor"),
            *("velocity_factor_uncertainty", "length_m", "length_uncertainty_m", "z0_ohm"),
            "loss_db_per_100m",
        )
    )
    ends = tuple(
        (end, keys.path(key))
        for key, end in (("far_end_open", 1.0), ("far_end_short", -1.0))
        if key in keys.table
    )
    known = CABLES[keys.choice("line", CABLES)] if "line" in keys.table else None
    by_length = bool(ends) and "length_m" in keys.table
    if by_length and "velocity_factor" in keys.table:
        raise keys.fail(
            "velocity_factor",
            "the far end's sweeps and length_m give the velocity factor: state one of the two",
        )
    _refuse_idle(keys, bool(ends), by_length)
    rows = loss_rows(keys) if "loss_db_per_100m" in keys.table else known.loss if known else ()
    line = Line(
        keys.number("length_m", 0.0, low=0.1 if by_length else 0, high=LONGEST_M),
        0.66 if by_length else velocity_factor(keys, known),
        keys.number("z0_ohm", known.z0 if known else z_ref, low=1e-3, high=1e6),
        *(loss_law(rows) if rows else (0.0, 0.0)),
    )
    wanted = {"velocity factor": ("velocity_factor_uncertainty", defaults.PATH["velocity factor"])}
    if by_length:
        wanted = {}
    if line.length_m:
        wanted["length"] = ("length_uncertainty_m", defaults.LINE_LENGTH_M)
    return LineCheck(
        keys.path("reading"),
        keys.path("baseline") if "baseline" in keys.table else None,
        ends,
        line,
        bool(rows),
        {
            name: keys.number(key, default, low=0, high=MOST_DOUBT[name])
            for name, (key, default) in wanted.items()
        },
        tuple(name for name, (key, _) in wanted.items() if key not in keys.table),
        by_length,
    )


def _refuse_idle(keys: Keys, ends: bool, by_length: bool) -> None:
    """Refuse what would have no effect, rather than let its writer believe in it."""
    given = "the far end's sweeps give it"
    idle = {
        "z0_ohm": given if ends else "",
        "loss_db_per_100m": given if ends else "",
        "line": f"{given}, and length_m the velocity factor" if by_length else "",
        "velocity_factor_uncertainty": "length_m gives the velocity factor" if by_length else "",
        "length_uncertainty_m": "" if "length_m" in keys.table else "there is no length_m",
    }
    for key, why in idle.items():
        if why and key in keys.table:
            raise keys.fail(key, f"it has no effect here, for {why}: leave it out")
