"""Ctrl-C while the command still loads what it needs: the same line as at any later moment."""

import os
import signal
import sys

STATUS = 128 + signal.SIGINT


def _stop(*_: object) -> None:
    """End at once: nothing is begun yet, and what an import raises may be lost on the way."""
    os.write(2, b"rfcal: stopped\n")
    os._exit(STATUS)


def as_ever() -> None:
    """Leave Ctrl-C to Python again, for whoever catches it."""
    if signal.getsignal(signal.SIGINT) is _stop:
        signal.signal(signal.SIGINT, signal.default_int_handler)


# the package is loaded before any module of it: only here is the command quick enough
_SCRIPT = os.path.splitext(os.path.basename(sys.argv[0]))[0] == "rfcal"
_MODULE = " -m rfcal " in " ".join([*sys.orig_argv, ""])
if (_SCRIPT or _MODULE) and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    signal.signal(signal.SIGINT, _stop)
