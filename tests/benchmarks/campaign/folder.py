"""A session written as a record: raw files of one-port sweeps, or typed rows, and record.toml."""

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.campaign.physics import impedance
from tests.benchmarks.campaign.sessions import Reading, Session


def write(session: Session, folder: Path) -> None:
    """The record's folder, which must exist."""
    (folder / "raw").mkdir()
    tables = copy.deepcopy(
        {
            "standard": session.standards,
            "check": session.checks,
            "reread": session.rereads,
            "measurement": [session.measurement] if "device" in session.readings else [],
        }
    )
    for table in (row for rows in tables.values() for row in rows):
        reading = session.readings[table.get("reading") or table["name"]]
        table.pop("reading", None)
        style = reading.style.get("form", session.typed)
        if style.startswith("typed"):
            table[style] = typed_rows(reading, style)
        else:
            table["reading"] = save(reading, folder)
    for between in session.measurement.get("between", []):
        if "far_end_open" in between:
            for key in ("far_end_open", "far_end_short"):
                name = save(session.readings[between[key]], folder)
                tables["measurement"][0]["between"][0][key] = name
        if "adapter" in between:
            (folder / "adapter.s2p").write_text(two_port(session))
    text = ["format = 1", '[record]\ntitle = "a session"', header("analyzer", session.analyzer)]
    text += [item(name, table) for name, rows in tables.items() for table in rows]
    if session.line_check is not None:
        reading = save(session.readings["line"], folder)
        text.append(header("line_check", session.line_check | {"reading": reading}))
    (folder / "record.toml").write_text("\n".join(text) + "\n")


def header(name: str, table: dict[str, Any]) -> str:
    """One table of the record; numbers, texts and lists are written as JSON has them."""
    return "\n".join([f"[{name}]", *(f"{k} = {json.dumps(v)}" for k, v in table.items())])


def item(name: str, table: dict[str, Any]) -> str:
    """One of several tables, with what lies between."""
    own = {k: v for k, v in table.items() if k != "between"}
    parts = [header(f"[{name}]", own)]
    parts += [header("[measurement.between]", one) for one in table.get("between", [])]
    return "\n".join(parts)


def typed_rows(reading: Reading, style: str) -> list[list[float]]:
    """What a person reads off the display and types: MHz and R, X or magnitude, angle."""
    rows = []
    unit = reading.style.get("unit_hz", 1e6)
    for f, x in zip(reading.labels, reading.raw(), strict=True):
        label = round(f / unit, 6)
        if style == "typed":
            z = impedance(x)
            rows.append([label, round(z.real, 1), round(z.imag, 1)])
        else:
            size, angle = round(abs(x), 3), round(float(np.degrees(np.angle(x))), 1)
            turned = reading.style.get("typed", lambda s, a: (s, a))(size, angle)
            rows.append([label, *turned])
    return rows


def save(reading: Reading, folder: Path) -> str:
    """One file of raw readings; its name in the record."""
    content = reading.style.get("copied") or lines(reading)
    form = reading.style.get("form", "s1p")
    ending = {"csv": "csv", "two-port": "s2p"}.get(form, "s1p")
    name = f"raw/{reading.name.replace(' ', '-')}.{ending}"
    (folder / name).write_text(content)
    return name


def lines(reading: Reading) -> str:
    """The text of one file, as its style says."""
    style, raw = reading.style, reading.raw()
    form, unit = style.get("form", "s1p"), style.get("unit", "Hz")
    numbers, said = style.get("numbers", "RI"), style.get("said", style.get("numbers", "RI"))
    labels = reading.labels / style.get("unit_hz", 1.0)
    if form == "csv":
        z = impedance(raw)
        rows = np.column_stack([labels, z.real, z.imag])
        body = "\n".join(
            ",".join(f"{v:.10g}" for v in row) for row in rows[style.get("order", ...)]
        )
        return f"frequency_{unit.lower()},r_ohm,x_ohm\n{body}\n"
    columns = pair(raw, numbers)
    if form == "two-port":
        small = np.full(raw.shape, 1e-3)
        columns = [*pair(raw, numbers), *pair(style["s21"], numbers), *[small] * 4]
    rows = np.column_stack([labels, *columns])[style.get("order", ...)]
    body = "\n".join(" ".join(f"{v:.10g}" for v in row) for row in rows)
    return f"# {unit} S {said} R {style.get('z_ref', 50):g}\n{body}\n"


def pair(x: np.ndarray, numbers: str) -> list[np.ndarray]:
    """Two columns of complex numbers in one of the three formats, or with an angle in radians."""
    if numbers == "RI":
        return [x.real, x.imag]
    angle = np.angle(x) if numbers.endswith("radians") else np.degrees(np.angle(x))
    size = 20 * np.log10(np.abs(x)) if numbers.startswith("DB") else np.abs(x)
    return [size, angle]


def two_port(session: Session) -> str:
    """The file of the adapter, as somebody measured it."""
    assert session.adapter is not None
    f = session.frequency
    box = session.adapter(f)
    through = np.sqrt(box.s21s12)
    # the root that is continuous from no delay at all
    through = through * np.where(np.real(through) < 0, -1, 1)
    columns = [v for s in (box.s11, through, through, box.s22) for v in (s.real, s.imag)]
    body = "\n".join(" ".join(f"{v:.10g}" for v in row) for row in np.column_stack([f, *columns]))
    return f"# Hz S RI R 50\n{body}\n"
