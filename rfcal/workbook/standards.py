"""The panel about standards that are not what the record says."""

import numpy as np

from rfcal.record.job.whatif import corrected_with
from rfcal.record.results import Results
from rfcal.uncertainty import words
from rfcal.workbook.panel import Panel, Slider
from rfcal.workbook.pictures import comparison

SLIDERS = (
    Slider("load", "loads off by", "ohm", -10.0, 10.0, 0.1, 4.0),
    Slider("capacitance", "opens off by", "fF", -50.0, 500.0, 10.0, 0.0),
    Slider("inductance", "shorts off by", "nH", -0.3, 3.0, 0.1, 0.0),
)


def standards_panel(results: Results, name: str) -> Panel:
    """A corrected device, and what it would be if the standards were otherwise."""
    device = results.device(name)
    z, at = device.impedance.value, device.answer
    half = device.expanded_uncertainty()[at]
    figure, moving, move = comparison(
        device.frequency,
        device.reflection.value,
        device.z_ref,
        ("standards as recorded", "standards as the sliders say"),
        np.full(2, 0.15 * np.max(np.abs(z)) + 2),
    )

    def update(load, capacitance, inductance):
        moved = corrected_with(
            results,
            name,
            load_ohm=load,
            open_farad=capacitance * 1e-15,
            short_henry=inductance * 1e-9,
        )
        off = move(moved)[at] - z[at]
        return (
            f"At {words.mhz(device.frequency[at])}, R moves by {off.real:+.2f} ohm and X by "
            f"{off.imag:+.2f} ohm; the 95 % half-widths of the record are {half[0]:.2f} and "
            f"{half[1]:.2f} ohm."
        )

    return Panel(figure, SLIDERS, update, moving=moving)
