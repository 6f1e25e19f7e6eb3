"""What a plan predicts is what a record of the same set-up then says, and so is its advice."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal import compute
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line, loss_law
from rfcal.models.standards import Standard
from rfcal.planning.plan import Length, Setup, plan
from rfcal.record.format.standard import UNCERTAINTIES

F = np.array([70e6])
PLAIN = {kind: Standard(kind) for kind in ("short", "open", "load")}
TRACKING = 0.9 * np.exp(-0.9j)
SETUP = Setup(F, PLAIN, tracking=TRACKING)


def length(metres, kind="cable", name="line", z0=50.0, decibel=4.0, **deviations):
    """A line of so much loss per 100 m."""
    line = Line(metres, 0.66, z0, *loss_law(((F[0] / 1e6, decibel),)))
    return Length(name, line, deviations, kind)


class Written:
    """A record as somebody would write it who did what a set-up says."""

    def __init__(self, folder, setup):
        self.folder, self.setup = folder, setup
        folder.mkdir(exist_ok=True)
        self.tracking = 1 if setup.residual is not None else setup.tracking

    def raw(self, x):
        for length in reversed(self.setup.inside):
            x = length.line.two_port(F).bilinear(50.0).apply(x)
        return self.tracking * x

    def file(self, name, x, key="reading"):
        file = f"{name}-{key}.s1p".replace(" ", "_")
        raw = complex(self.raw(x)[0])
        (self.folder / file).write_text(f"# Hz S RI R 50\n{F[0]} {raw.real!r} {raw.imag!r}\n")
        return f'{key} = "{file}"\n'

    def reading(self, name, x):
        raw = complex(self.raw(x)[0])
        if self.setup.typed_steps is not None:
            size, turn = abs(raw), np.degrees(np.angle(raw))
            return f"typed_reflection = [[{F[0] / 1e6}, {size:.2f}, {turn:.0f}]]\n"
        if self.setup.resolution_ohm:
            ohm = complex(to_impedance(raw))
            return f"typed = [[{F[0] / 1e6}, {ohm.real:.4f}, {ohm.imag:.4f}]]\n"
        return self.file(name, x)

    def standard(self, name, model):
        lines = [f'[[standard]]\nname = "{name}"\nkind = "{model.kind}"']
        if model.kind == "load":
            lines.append(f"resistance_ohm = {model.resistance}")
        if model.offset_delay:
            lines.append(f"offset_delay_ps = {model.offset_delay * 1e12!r}")
        for part, key in UNCERTAINTIES.items():
            if part in model.uncertainty:
                value = float(model.uncertainty[part] / key.unit[0])
                lines.append(f"{key.name} = {value!r}")
        return "\n".join(lines) + "\n" + self.reading(name, model.reflection(F))

    def between(self, item):
        text, stated, line = "[[measurement.between]]\n", item.deviations, item.line
        through = line.two_port(F).bilinear(50.0)
        if item.kind == "cable":
            loss = float(line.loss_db_per_100m(F)[0])
            text += f'line = "{item.name}"\nlength_m = {line.length_m}\n'
            if item.name not in CABLES:
                text += f"velocity_factor = {line.velocity_factor}\nz0_ohm = {line.z0}\n"
                text += f"loss_db_per_100m = [[{F[0] / 1e6}, {loss!r}]]\n"
            keys = {
                "length": ("length_uncertainty_m", 1),
                "velocity factor": ("velocity_factor_uncertainty", 1),
                "impedance": ("z0_uncertainty_ohm", 1),
                "loss": ("loss_uncertainty_percent", 100),
            }
            return text + "".join(
                f"{key} = {stated[known] * unit!r}\n"
                for known, (key, unit) in keys.items()
                if known in stated
            )
        if item.kind == "adapter":
            s = (through.directivity, through.reflection_tracking, through.source_match)
            s = [complex(v[0]) for v in (s[0], np.sqrt(s[1]), np.sqrt(s[1]), s[2])]
            numbers = " ".join(f"{v.real!r} {v.imag!r}" for v in s)
            (self.folder / "adapter.s2p").write_text(f"# Hz S RI R 50\n{F[0]} {numbers}\n")
            return text + 'adapter = "adapter.s2p"\n'
        text += 'line = "measured"\n' if item.kind == "measured" else ""
        first = "fixture" if item.kind == "fixture" else "far_end"
        for end, x in (("open", 1), ("short", -1)):
            text += self.file(item.name, through.apply(x), f"{first}_{end}")
        return text

    def half_widths(self, ohm):
        setup = self.setup
        text = 'format = 1\n[record]\ntitle = "t"\n[analyzer]\n'
        for key in ("noise", "connection", "drift"):
            text += f"{key} = {getattr(setup, key)!r}\n"
        text += f"resolution_ohm = {setup.resolution_ohm or 0.1!r}\n"
        if setup.residual is not None:
            residual = {"directivity": 0.01, "source_match": 0.02, "tracking": 0.01}
            for key, size in {**residual, **setup.residual}.items():
                text += f"residual_{key} = {size!r}\n"
        text += "".join(self.standard(*item) for item in setup.standards.items())
        x = np.array([from_impedance(ohm)])
        for item in reversed(setup.lines):
            x = item.line.two_port(F).bilinear(50.0).apply(x)
        text += '[[measurement]]\nname = "device"\n' + self.reading("device", x)
        text += "".join(self.between(item) for item in setup.lines)
        (self.folder / "record.toml").write_text(text)
        return np.ptp(compute(self.folder).devices[0].interval[0], axis=-1) / 2


def planned(setup, ohm):
    found = plan(setup, ohm).figures
    pair = (found["resistance"], found["reactance"])
    return np.array([(f.high[0] - f.low[0]) / 2 for f in pair])


SETUPS = {
    "as it comes": SETUP,
    "tracking": replace(SETUP, noise=0.002, tracking=0.25),
    "typed": replace(SETUP, resolution_ohm=0.1),
    "typed to an ohm": replace(SETUP, resolution_ohm=1.0),
    "typed reflection": replace(SETUP, typed_steps=(0.01, 1.0)),
    "residual": Setup(F, residual={}),
    "residual, stated": Setup(F, residual={"directivity": 0.03, "source_match": 0.1}),
    "by type": replace(SETUP, lines=(Length("RG-213", CABLES["RG-213"].line(2.0)),)),
    "by figures": replace(SETUP, lines=(length(12.0, length=0.002, **{"velocity factor": 1e-3}),)),
    "calibrated at the far end": replace(SETUP, noise=0.003, inside=(length(40.0, decibel=20.0),)),
    "measured": replace(SETUP, lines=(length(12.3, "measured", decibel=10.0),)),
    "adapter": replace(SETUP, lines=(length(0.05, "adapter", z0=60.0),)),
    "fixture": replace(SETUP, lines=(length(0.05, "fixture", z0=60.0),)),
    "behind its own correction": Setup(F, residual={}, lines=(length(12.3, "measured"),)),
}


@pytest.mark.parametrize("ohm", [2, 200 + 100j])
@pytest.mark.parametrize("name", SETUPS)
def test_predicted_interval_is_that_of_the_record(tmp_path, name, ohm):
    setup = SETUPS[name]
    found = Written(tmp_path / "record", setup).half_widths(ohm)
    assert planned(setup, ohm) == pytest.approx(found, rel=0.03)


KNOWN = {"length": 0.001, "velocity factor": 1e-4, "impedance": 0.05, "loss": 0.003}
JUMPER = length(1.5, **{**KNOWN, "velocity factor": 0.001})
LOSSY = length(40.0, decibel=20.0, **KNOWN)
ADVISED = {
    "at the analyzer": SETUP,
    "typed": replace(SETUP, resolution_ohm=1.0, tracking=0.5),
    "behind a lossy cable": replace(
        SETUP, noise=0.005, lines=(length(40.0, decibel=20.0, **KNOWN),)
    ),
    "behind a jumper": replace(SETUP, lines=(JUMPER,)),
    "corrects itself": Setup(F, residual={}, tracking=TRACKING),
    "corrects itself, behind a jumper": Setup(F, residual={}, lines=(JUMPER,), tracking=TRACKING),
}


@pytest.mark.parametrize("ohm", [30 - 20j, 70 + 30j])
@pytest.mark.parametrize("name", ADVISED)
def test_what_is_promised_is_what_the_changed_record_gives(tmp_path, name, ohm):
    setup = ADVISED[name]
    options = plan(setup, ohm).options
    now, *then = (
        np.linalg.norm(Written(tmp_path / str(k), each).half_widths(ohm))
        for k, each in enumerate((setup, *(option.setup for option in options)))
    )
    kept = 1 - np.array(then) / now
    assert kept == pytest.approx([option.gain for option in options], abs=0.03)
    # in order, but for what is as good as alike
    assert np.all(np.diff(kept) <= 0.03)
