"""From a figure to bytes that are the same every time: SVG for a page, PNG, and fast PNG."""

import re
from functools import cache
from html import escape
from io import BytesIO, StringIO

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image

from rfcal.report.figures import style

GREYS = (0, 34, 51, 68, 89, 106, 123, 140, 157, 174, 191, 207, 219, 231, 243, 255)
STEPS_TO_WHITE = 12
FONTS = "'DejaVu Sans', sans-serif"


def fix_layout(figure: Figure) -> None:
    """Arrange the figure once and for all; a second arranging would move it by a hair."""
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine("none")


def png_bytes(figure: Figure) -> bytes:
    """Whole figure as a PNG in full colour, the same bytes for the same figure."""
    fix_layout(figure)
    out = BytesIO()
    # the canvas itself: Figure.savefig draws everything once more beforehand
    FigureCanvasAgg(figure).print_png(out, metadata={"Software": None})
    return out.getvalue()


def svg_text(figure: Figure, *, alt: str, prefix: str = "figure") -> str:
    """Whole figure as one ``svg`` element to set into a page, the same for the same figure.

    `alt` says what it shows, for those who cannot see it; `prefix` starts every id, so that
    several pictures can share a page.
    """
    fix_layout(figure)
    out = StringIO()
    with mpl.rc_context({"svg.hashsalt": "rfcal", "svg.fonttype": "none"}):
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    return _for_a_page(out.getvalue(), alt, prefix)


def _for_a_page(text: str, alt: str, prefix: str) -> str:
    """Cut the head and the metadata off an SVG file, keep its ids and its style to itself."""
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'(url\(|href=")#', rf"\g<1>#{prefix}-", text)
    text = text.replace("*{", f"#{prefix} *{{")
    text = re.sub(r"(font: [^;\"]*?px|font-family:) [^;\"]*", rf"\g<1> {FONTS}", text)
    # no screen shows a hundredth of a point
    text = re.sub(r'\bd="[^"]*"', lambda m: re.sub(r"(\.\d\d)\d+", r"\1", m[0]), text)
    words = escape(alt.strip())
    head = f'<svg id="{prefix}" role="img" aria-label="{words}" style="max-width:100%;height:auto"'
    text = text.replace("<svg", head, 1)
    return re.sub(r"(<svg[^>]*>)", lambda m: f"{m[1]}\n <title>{words}</title>", text, count=1)


@cache
def _palette() -> Image.Image:
    """White, the colours of the workbook with their steps towards white, and greys: 64."""
    colours = set(style.COLORS.values()) - {"#000000"}
    towards_white = np.linspace(0, 1, STEPS_TO_WHITE, endpoint=False)[:, None]
    rows = [np.repeat(np.array(GREYS)[:, None], 3, axis=1)]
    for colour in sorted(colours):
        rgb = 255 * np.array(to_rgb(colour))
        rows.append(np.rint(rgb + (255 - rgb) * towards_white).astype(int))
    holder = Image.new("P", (1, 1))
    holder.putpalette(np.concatenate(rows).astype(np.uint8).tobytes())
    return holder


def fast_png(rgba: NDArray[np.uint8]) -> bytes:
    """Code a drawn, opaque picture, shape (height, width, 4), with 64 fixed colours.

    White, the lines' colours and those of the grid come back exactly, all else as its nearest.
    """
    size = rgba.shape[1], rgba.shape[0]
    whole = Image.frombytes("RGB", size, rgba.tobytes(), "raw", "RGBX")
    out = BytesIO()
    whole.quantize(palette=_palette(), dither=Image.Dither.NONE).save(out, "PNG", compress_level=1)
    return out.getvalue()
