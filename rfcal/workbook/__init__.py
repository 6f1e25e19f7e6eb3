"""What the notebooks use besides the library: panels with sliders, exercises, truth of the demo."""

from rfcal.workbook.lesson import *  # noqa: F403
