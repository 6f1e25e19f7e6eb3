"""What rfcal has to say about a record besides the answer: data that every face shows."""

from dataclasses import dataclass

SEVERITIES = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """One remark about a record.

    Parameters
    ----------
    code : str
        Short name of the kind of remark, stable across versions.
    severity : str
        ``"error"``, ``"warning"`` or ``"note"``.
    about : str
        The standard, check, measurement or file it is about.
    message : str
        One sentence: what was seen and what to do.
    """

    code: str
    severity: str
    about: str
    message: str


def span_mhz(frequency, where) -> str:
    """Words for the part of a sweep where something holds.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].
    where : ndarray of bool, shape (F,)
        True at the points meant; at least one is.

    Returns
    -------
    str
        Such as ``"at 70.2 MHz"`` or ``"at 12 of 201 points from 69 to 69.4 MHz"``.
    """
    chosen = frequency[where]
    if chosen.size == 1:
        return f"at {chosen[0] / 1e6:.6g} MHz"
    span = f"from {chosen[0] / 1e6:.6g} to {chosen[-1] / 1e6:.6g} MHz"
    return (
        span
        if chosen.size == frequency.size
        else (f"at {chosen.size} of {frequency.size} points {span}")
    )
