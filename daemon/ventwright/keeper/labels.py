"""Whether the wall clock of this machine can be believed, and how it relates to boot time."""

import ctypes
import time
from pathlib import Path

from ventwright.storage.keeping import Labels
from ventwright_drivers.clock import Clock

_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
_TIMEX_BYTES = 512  # more than any struct timex
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised


def kernel_synchronised() -> bool:
    """Ask the kernel whether its clock is disciplined, by adjtimex(2) without changing it."""
    try:
        answer: int = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (OSError, AttributeError):
        return False
    return 0 <= answer < _TIME_ERROR


def local_offset(offset: int, t: int) -> int:
    """Give what makes local time of day of a time of this boot, ms; `offset` makes Unix ms."""
    return offset + 1000 * (time.localtime((t + offset) / 1000).tm_gmtoff or 0)


def machine_labels(clock: Clock, has_battery: bool) -> Labels:
    """Label by this machine's clock; it is right if synchronised, or kept by a battery."""

    def offset() -> int:
        return time.time_ns() // 1_000_000 - clock.now()

    def right() -> bool:
        return has_battery or _SYNCHRONISED.exists() or kernel_synchronised()

    return Labels(offset, right)
