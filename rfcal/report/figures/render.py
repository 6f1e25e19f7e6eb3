"""From a figure to bytes that are the same every time: SVG for a page, PNG, and fast PNG.

The fast PNG knows 64 colours only: white, the colours of the workbook with their steps towards
white, and greys. A 15-bit look-up finds the nearest one, and gives white and the line colours
back exactly.
"""

import base64
import re
import struct
import zlib
from dataclasses import dataclass
from functools import cache
from html import escape
from io import BytesIO, StringIO
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray

from rfcal.report.figures import style

GREYS = (0, 34, 51, 68, 89, 106, 123, 140, 157, 174, 191, 207, 219, 231, 243, 255)
STEPS_TO_WHITE = 12
FONTS = "'DejaVu Sans', sans-serif"


def settle(figure: Figure) -> None:
    """Arrange the figure once and for all; a second arranging would move it by a hair."""
    if figure.get_layout_engine() is not None:
        figure.draw_without_rendering()
        figure.set_layout_engine("none")


def png_bytes(figure: Figure, *, dpi: float = style.DPI) -> bytes:
    """Whole figure as a PNG in full colour, the same bytes for the same figure."""
    settle(figure)
    out = BytesIO()
    figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def svg_text(figure: Figure, *, alt: str, prefix: str = "figure") -> str:
    """Whole figure as one ``svg`` element to set into a page, the same for the same figure.

    `alt` says what it shows, for those who cannot see it; `prefix` starts every id, so that
    several pictures can share a page.
    """
    if not alt.strip():
        raise ValueError("a picture for a page needs a sentence that says what it shows")
    if not re.fullmatch(r"[A-Za-z][\w-]*", prefix, re.ASCII):
        raise ValueError(f"{prefix!r} cannot start an id: use a letter, then letters or digits")
    settle(figure)
    out = StringIO()
    with mpl.rc_context({"svg.hashsalt": "rfcal", "svg.fonttype": "none"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return _for_a_page(out.getvalue(), alt, prefix)


def _for_a_page(text: str, alt: str, prefix: str) -> str:
    """Cut the head and the metadata off an SVG file, keep its ids and its style to itself."""
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'(url\(|href=")#', rf"\g<1>#{prefix}-", text)
    text = text.replace("*{", f"#{prefix} *{{")
    text = re.sub(r"(font: [^;\"]*?px) [^;\"]*", rf"\g<1> {FONTS}", text)
    words = escape(alt.strip())
    head = f'<svg id="{prefix}" role="img" aria-label="{words}" style="max-width:100%;height:auto"'
    text = text.replace("<svg", head, 1)
    return re.sub(r"(<svg[^>]*>)", lambda m: f"{m[1]}\n <title>{words}</title>", text, count=1)


@dataclass(frozen=True)
class Picture:
    """A figure as a notebook shows it: a picture, and in words what it says."""

    figure: Figure
    alt: str

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, str]:
        image = base64.b64encode(png_bytes(self.figure)).decode("ascii")
        return {"image/png": image, "text/plain": self.alt}


@cache
def palette() -> NDArray[np.uint8]:
    """Colours of the fast PNG, shape (64, 3)."""
    colours = {role.color for role in style.ROLES.values()} - {"#000000"}
    towards_white = np.linspace(0, 1, STEPS_TO_WHITE, endpoint=False)[:, None]
    rows = [np.repeat(np.array(GREYS)[:, None], 3, axis=1)]
    for colour in sorted(colours):
        rgb = 255 * np.array(to_rgb(colour))
        rows.append(np.rint(rgb + (255 - rgb) * towards_white).astype(int))
    table = np.concatenate(rows).astype(np.uint8)
    table.setflags(write=False)
    return table


@cache
def _nearest() -> NDArray[np.uint8]:
    """Index into the palette for every colour of 5 bits a channel."""
    table = palette().astype(np.int32)
    every = np.arange(1 << 15)
    centres = np.stack([(every >> shift & 31) * 8 + 4 for shift in (10, 5, 0)], axis=1)
    best = np.full(every.size, 3 * 256**2)
    nearest = np.zeros(every.size, np.uint8)
    for index, colour in enumerate(table):
        distance = ((centres - colour) ** 2).sum(axis=1)
        nearer = distance < best
        best[nearer], nearest[nearer] = distance[nearer], index
    exact = [to_rgb(role.color) for role in style.ROLES.values()]
    exact += [to_rgb(c) for c in (style.WHITE, style.GRID, style.MUTED, style.TEXT)]
    for rgb in np.rint(255 * np.array(exact)).astype(int):
        bucket = rgb[0] >> 3 << 10 | rgb[1] >> 3 << 5 | rgb[2] >> 3
        nearest[bucket] = np.flatnonzero((table == rgb).all(axis=1))[0]
    nearest.setflags(write=False)
    return nearest


def fast_png(rgba: NDArray[np.uint8]) -> bytes:
    """Code a drawn, opaque picture, shape (height, width, 4), with the fixed colours.

    Source: ISO/IEC 15948.
    """
    height, width, _ = rgba.shape
    packed = rgba.view("<u4")[..., 0]
    bucket = (packed & 0xF8) << 7 | packed >> 6 & 0x3E0 | packed >> 19 & 0x1F
    rows = np.zeros((height, width + 1), np.uint8)  # each row starts with its filter, 0: none
    np.take(_nearest(), bucket, out=rows[:, 1:])
    head = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    parts = (
        (b"IHDR", head),
        (b"PLTE", palette().tobytes()),
        (b"IDAT", zlib.compress(rows.tobytes(), 1)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*part) for part in parts)


def _chunk(kind: bytes, data: bytes) -> bytes:
    """Wrap data as one chunk of a PNG file."""
    check = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)
