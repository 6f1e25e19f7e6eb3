"""Many mutated files through every door: ``python -m tests.benchmarks.fuzz 100000 [SEED]``.

Not part of the tests. What is neither read nor refused as it should be is printed, and belongs
into `tests/record/test_mutated.py` once it is mended.
"""

import sys
import tempfile
from pathlib import Path

from rfcal.cli import main
from tests.mutated import doors, failures
from tests.record.conftest import write_files


def run(count: int, seed: int) -> int:
    """How many of so many mutants fail."""
    with tempfile.TemporaryDirectory() as spare:
        folder = Path(spare)
        record = write_files(folder / "filed")
        main(["report", str(record), "--output", str(folder / "o")])
        page = (folder / "o/report.html").read_text(encoding="utf-8")
        failed = 0
        for name, content, error in failures(seed, count, doors(folder / "doors", record, page)):
            failed += 1
            print(f"{name}: {type(error).__name__}: {error}\n  {content[-500:]!r}", flush=True)
        print(f"{count} mutants of seed {seed}, {failed} failed")
        return failed


if __name__ == "__main__":
    sys.exit(bool(run(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
