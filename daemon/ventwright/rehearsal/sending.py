"""The courier of a rehearsal: the real one, which at the end delivers all that is left.

Run as `python -m ventwright.rehearsal.sending CONFIGURATION`; ends on SIGTERM.
"""

import ctypes
import logging
import os
import signal
import sys
from pathlib import Path

from ventwright.courier.main import Courier
from ventwright.settings.model import SECOND
from ventwright.settings.plan import read_settings
from ventwright_drivers.clock import SystemClock

PATIENCE_MS = 10 * SECOND
_PR_SET_PDEATHSIG = 1


def main() -> int:
    """Be the courier until told to stop, then send the rest for at most 10 s."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)
    settings = read_settings(Path(sys.argv[1]))
    status = Courier(settings, SystemClock(), os.environ).run()
    rest = Courier(settings, SystemClock(), os.environ)
    rest.drain(PATIENCE_MS)
    rest.close()
    return status


if __name__ == "__main__":
    sys.exit(main())
