"""What stands in for the doubt of a standard that says nothing of it."""

from dataclasses import replace

from rfcal import defaults
from rfcal.models.standards import Standard, Tabulated


def with_default_uncertainty(standard: Standard | Tabulated) -> Standard | Tabulated:
    """The same standard with its kind's default uncertainties where it leaves them open."""
    return replace(standard, uncertainty={**missing_uncertainty(standard), **standard.uncertainty})


def missing_uncertainty(standard: Standard | Tabulated) -> dict[str, float]:
    """The default uncertainties that stand in for what a standard does not state, by parameter.

    There are none where ``reflection`` is stated, which is the whole doubt about a standard.
    """
    stated = standard.uncertainty
    if "reflection" in stated:
        return {}
    if isinstance(standard, Tabulated):
        usual = dict(defaults.STANDARD["known"])
    else:
        usual = dict(defaults.BUILT[standard.build][standard.kind])
        if standard.kind == "load":
            usual["resistance"] = defaults.LOAD_RELATIVE[standard.build] * standard.resistance
        if standard.offset_delay:
            usual["delay"] = defaults.OFFSET_DELAY_S[standard.build]
    return {k: v for k, v in usual.items() if k not in stated}
