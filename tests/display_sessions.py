"""Many sessions with random analyzers, read off displays that show less than R and X.

Each point of a sweep is a session of its own: analyzer, standards' errors and device are new.
"""

from dataclasses import dataclass

import numpy as np

from rfcal.library.device import Device
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.measurement.undecided import undecided
from rfcal.models.standards import Standard, with_default_uncertainty
from rfcal.readings.display import Beyond, Display, Options
from rfcal.record.job import displays

WORTH = Analyzer(noise=0.0005, connection=0.001, drift=0.0)
STANDARDS = {
    "short": Standard("short", inductance=(0.3e-9,)),
    "open": Standard("open", capacitance=(50e-15,)),
    "load": Standard("load", resistance=49.9, uncertainty={"resistance": 0.1}),
}
NAMES = (*STANDARDS, "device")


@dataclass(frozen=True)
class Shown:
    """What a display shows: of the standards, of the device, and up to where."""

    standards: str = "signed"  # or "unsigned", "sizes", "size", "swr"
    device: str = "signed"
    most_ohm: float = np.inf
    step_ohm: float = 0.1


def random_analyzers(rng, frequency, error=0.04):
    """Uncorrected ones, their plane behind up to 15 cm of lead."""
    count = frequency.size
    e00, e11, noise = error * (rng.normal(size=(3, count)) + 1j * rng.normal(size=(3, count)))
    length = rng.uniform(0.01, 0.15, count)
    turn = np.exp(-4j * np.pi * frequency * length / 2e8)
    return Bilinear.from_error_terms(e00, e11, (0.95 + noise) * turn)


def random_devices(rng, count):
    """Impedances [ohm] as antennas, coils and resistors have them."""
    r = np.exp(rng.uniform(np.log(2), np.log(400), count))
    x = np.exp(rng.uniform(np.log(2), np.log(300), count)) * rng.choice([-1, 1], count)
    return r + 1j * x


def displayed(kind, z, frequency, shown, label):
    """What the display leaves of raw impedances [ohm]."""
    mhz, step = frequency / 1e6, shown.step_ohm
    display = Display(label, 50.0, label, (step, 0.01))

    def cell(value, beyond, step=step):
        return Beyond(shown.most_ohm) if beyond else round(value / step) * step

    beyond = np.maximum(np.abs(z.real), np.abs(z.imag)) > shown.most_ohm
    if kind in ("signed", "unsigned"):
        x = z.imag if kind == "signed" else np.abs(z.imag)
        rows = [
            (m, cell(a, out), cell(b, out))
            for m, a, b, out in zip(mhz, z.real, x, beyond, strict=True)
        ]
        return display.impedances(rows, sign_known=kind == "signed")
    size = np.abs(from_impedance(z, 50.0))
    swr = (1 + size) / np.abs(1 - size)
    sizes = np.abs(z)
    z_rows = [(m, cell(v, v > shown.most_ohm)) for m, v in zip(mhz, sizes, strict=True)]
    s_rows = [
        (m, Beyond(99.0) if v > 99 or bad else round(v, 2))
        for m, v, bad in zip(mhz, swr, size > 1, strict=True)
    ]
    z_rows, s_rows = {"sizes": (z_rows, s_rows), "size": (z_rows, ()), "swr": ((), s_rows)}[kind]
    return display.sizes(z_rows, s_rows)


def sessions(rng, frequency, shown, device=None):
    """Impedances of the devices [ohm], shape (F,), and what is said of them."""
    count = frequency.size
    each = np.arange(count)
    box = random_analyzers(rng, frequency)
    truth = random_devices(rng, count) if device is None else np.full(count, device)
    true = {
        name: with_default_uncertainty(model)
        .quantity(frequency, z_ref=50.0, name=name)
        .draw(rng, count)[each, each]
        for name, model in STANDARDS.items()
    }
    true["device"] = from_impedance(truth, 50.0)
    options: dict[str, Options] = {}
    for name in NAMES:
        off, noise = rng.normal(size=(2, 2, count)) * [[[WORTH.connection]], [[WORTH.noise]]]
        raw = box.apply(true[name] + off[0] + 1j * off[1]) + noise[0] + 1j * noise[1]
        kind = shown.device if name == "device" else shown.standards
        options[name] = displayed(kind, to_impedance(raw, 50.0), frequency, shown, name)
    standards = tuple(
        Known(name, model, options[name].sweeps[0]) for name, model in STANDARDS.items()
    )
    bench = Bench(WORTH, standards)
    found = undecided(bench, [options[name] for name in STANDARDS], frequency)
    bench = found.likeliest()
    here = bench.calibration(frequency)

    def made(bench, sweep):
        inputs, reflection = bench.corrected(bench.calibration(frequency), sweep)
        return Device("device", sweep, inputs, reflection, bench, (), 0)

    return truth, displays.answers_by_sign(
        displays.left_open(found, here, options["device"], made), {}
    )


def coverage(truth, found):
    """Shares of sessions whose R, and whose X, is held by the answer that fits better."""
    held = []
    first, *_ = found
    for device in (first, first.other or first):
        ends = device.interval
        value = np.stack([truth.real, truth.imag], axis=-1)
        held.append((ends[..., 0] <= value) & (value <= ends[..., 1]))
    better = held[1].sum(axis=-1) > held[0].sum(axis=-1)
    return np.where(better[:, None], held[1], held[0]).mean(axis=0)


def spread(frequency, count):
    """So many points beside one frequency [Hz]."""
    return frequency * np.linspace(1, 1.0001, count)
