"""Every error that a driver raises.

DriverError
├── DeviceLost (also OSError)          the port or bus is gone: close, wait, reopen
├── NoAnswer (also TimeoutError)       the device is there for all we know, but mute
├── Refused (also RuntimeError)        the device answered with an error of its own
└── BadOption (also ValueError)        an option of a part or relay makes no sense
"""


class DriverError(Exception):
    """Any failure of a part or relay that its driver can name."""


class DeviceLost(DriverError, OSError):
    """The port or bus vanished, or never opened; reopen it later."""


class NoAnswer(DriverError, TimeoutError):
    """Nothing valid arrived within the time that the part is allowed."""

    said: bytes = b""
    """The last of what did arrive, up to 512 bytes: it may tell which part it is instead."""


class Refused(DriverError, RuntimeError):
    """The device understood and said no; the text carries its code."""


class BadOption(DriverError, ValueError):
    """An option is outside what the part allows; the text names both."""
