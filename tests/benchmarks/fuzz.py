"""Many mutated files through every door: ``python -m tests.benchmarks.fuzz 100000 [SEED]``.

Not part of the tests. What is neither read nor refused as it should be is shrunk and printed, and
belongs into `tests/record/test_mutated.py` once it is mended. A third argument, ``guided``, has
atheris look for what reaches new code, where that is installed.
"""

import gc
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path
from types import FunctionType

from hypothesis import HealthCheck, given, note, seed, settings
from hypothesis.configuration import set_hypothesis_home_dir
from hypothesis.strategies import randoms

from rfcal.cli import main
from tests.mutated import doors, enter
from tests.record.conftest import write_files

CHUNK = 5000
"""Mutants of one seed: hypothesis keeps them all in mind."""


def guided(mutants: Callable[[], None], most: int, first: int) -> None:
    """The same by what they reach; ends with the first failure."""
    import atheris

    for one in gc.get_objects():
        if isinstance(one, FunctionType) and str(one.__module__).startswith("rfcal."):
            atheris.instrument_func(one)
    options = [sys.argv[0], f"-runs={most}", f"-seed={first}", "-max_len=4096", "-len_control=0"]
    atheris.Setup(options, mutants.hypothesis.fuzz_one_input)
    atheris.Fuzz()


def run(folder: Path, most: int = 100_000, first: int = 1, *how: str) -> bool:
    """Enter so many mutants; whether any failed."""
    set_hypothesis_home_dir(folder)
    main(["report", str(write_files(folder / "filed")), "--output", str(folder / "o")])
    page = (folder / "o/report.html").read_text(encoding="utf-8")
    entered = doors(folder / "doors", folder / "filed", page)
    tried, failed = 0, 0

    @settings(max_examples=CHUNK, database=None, deadline=None, suppress_health_check=HealthCheck)
    @given(randoms(use_true_random=False))
    def mutants(rng):
        nonlocal tried
        tried += 1
        enter(rng, entered, note)

    if how:
        guided(mutants, most, first)
    while tried < most:
        try:
            seed(first)(mutants)()
        except Exception as error:  # one, or a group of those that differ
            failed += len(getattr(error, "exceptions", [error]))
            traceback.print_exception(error)
        print(f"seed {first}: {tried} mutants so far, {failed} failures", flush=True)
        first += 1
    return bool(failed)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as spare:
        sys.exit(run(Path(spare), *map(int, sys.argv[1:3]), *sys.argv[3:]))
