"""What ``import rfcal`` costs beside ``import numpy``: whole new interpreters, taken in turns."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize("module", ["numpy", "rfcal"])
def test_import(benchmark, module):
    benchmark.extra_info.update(module=module)
    benchmark.pedantic(
        subprocess.run,
        args=([sys.executable, "-c", f"import {module}"],),
        kwargs={"check": True},
        rounds=15,
        warmup_rounds=1,
    )
