"""What every emulated part is to the world that hosts it: bytes in, bytes out, time passed in.

A twin never sleeps and asks no clock; it is told the time with every call. It measures "air": a
function from a quantity's name to its present true value in the canonical unit.
"""

import errno
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import ClassVar

Air = Callable[[str], float]


class SerialTwin(ABC):
    """The far end of a serial cable."""

    models: ClassVar[tuple[str, ...]]
    """Part numbers that this twin stands for."""

    @abstractmethod
    def receive(self, data: bytes, now: int) -> None:
        """Take bytes that the host sent, at `now` (ms)."""

    @abstractmethod
    def due(self) -> int | None:
        """Tell when the twin will next send something (ms), or None if only when asked."""

    @abstractmethod
    def emit(self, now: int) -> bytes:
        """Give the bytes that the twin has sent by `now` (ms) since the last call."""


class I2CTwin(ABC):
    """A part at an address of an emulated bus."""

    models: ClassVar[tuple[str, ...]]
    address: int

    @abstractmethod
    def write(self, data: bytes, now: int) -> None:
        """Take a write; raises OSError(EREMOTEIO) where the part would not acknowledge."""

    @abstractmethod
    def read(self, size: int, now: int) -> bytes:
        """Answer a read of `size` bytes; raises OSError(EREMOTEIO) if nothing is ready."""


class LineTwin(ABC):
    """Something that pulls at a GPIO line."""

    models: ClassVar[tuple[str, ...]]

    @abstractmethod
    def changes(self, now: int) -> list[tuple[int, bool]]:
        """Give each level that the line took since the last call: time (ns), True for high."""


def not_acknowledged() -> OSError:
    """Make the error that Linux gives when a part does not acknowledge."""
    return OSError(errno.EREMOTEIO, "Remote I/O error")
