"""Draw the README's two pictures from the demo records: ``python data/demo/make_pictures.py``.

The antenna at the top of its tower, as it was read and as it is, and the tower's line with the
place that reflects.
"""

from pathlib import Path

from rfcal import compute
from rfcal.report.figures.device import device_chart, line_figure
from rfcal.report.figures.render import png_bytes

DEMO = Path(__file__).parent


def main() -> None:
    """Write both pictures."""
    folder = DEMO / "pictures"
    folder.mkdir(exist_ok=True)
    antenna = compute(DEMO / "beacon-antenna").device("antenna")
    (folder / "antenna.png").write_bytes(png_bytes(device_chart(antenna)))
    line = compute(DEMO / "tower-line").line
    assert line is not None
    (folder / "line.png").write_bytes(png_bytes(line_figure(line)))


if __name__ == "__main__":
    main()
