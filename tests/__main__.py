"""All tests, in two halves at once as two processors do: ``python -m tests``."""

import subprocess
import sys
from tempfile import TemporaryFile

HALF = ("tests/record", "tests/outside", "tests/report", "notebooks")
"""What takes about half of the time; all else is the other half."""


def main() -> int:
    """What one half says comes after what the other says."""
    run = [sys.executable, "-m", "pytest"]
    with TemporaryFile("w+") as said:
        half = subprocess.Popen([*run, *HALF], stdout=said, stderr=subprocess.STDOUT)
        rest = subprocess.run([*run, "tests", *(f"--ignore={part}" for part in HALF)])
        failed = half.wait() or rest.returncode
        said.seek(0)
        print(said.read())
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
