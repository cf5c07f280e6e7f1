"""What parts with 16-bit commands and CRC-guarded words share."""

import contextlib
from abc import abstractmethod
from collections.abc import Mapping
from typing import Any

from ventwright_drivers.cleaning import Schedule
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2CPart
from ventwright_drivers.i2c.words import UNIT, command, unpack
from ventwright_drivers.part import Sample, Wiring


def named(status: tuple[int, ...], names: Mapping[int, str]) -> str:
    """Name the bits that are set in a status register of two words, "" if none is."""
    high, low = status
    register = high << 16 | low
    return ", ".join(name for bit, name in names.items() if register >> bit & 1)


def concerned(
    status: tuple[int, ...], concern: Mapping[int, frozenset[str]]
) -> frozenset[str] | None:
    """Collect the quantities that the bits set in a status register concern; None for all."""
    high, low = status
    register = high << 16 | low
    hit = [names for bit, names in concern.items() if register >> bit & 1]
    return frozenset().union(*hit) if hit else None


class WordPart(I2CPart):
    """A part that is sent word commands and answers in words."""

    def order(self, code: int, *words: int, wait_ms: int = 1) -> None:
        """Send a command and wait `wait_ms` for the part to carry it out; raises as the link."""
        self.link.write(command(code, *words))
        self.pause(wait_ms)

    def words(self, code: int, count: int, *sent: int, wait_ms: int = 1) -> tuple[int, ...]:
        """Ask for `count` words, 0 to 65535, ready after `wait_ms`; raises NoAnswer, DeviceLost."""
        reply = self.ask(command(code, *sent), count * UNIT, wait_ms)
        return unpack(reply, self.options.address)


class CleanedPart(WordPart):
    """A part with a fan that it cleans on command, while it measures."""

    CLEAN = 0x5607

    def __init__(self, options: Any, wiring: Wiring) -> None:
        """Remember options and wiring, and plan the cleanings."""
        super().__init__(options, wiring)
        self._cleanings = Schedule(options.clean_every)

    def start(self) -> None:
        """Start as every part, and count the time to the first cleaning; raises as they do."""
        super().start()
        self._cleanings.begin(self.clock.now())

    def measure(self) -> Sample | None:
        """Take the newest sample, None if it was taken before or the fan is being cleaned."""
        if self._cleanings.due(self.clock.now()):
            with contextlib.suppress(NoAnswer):  # it is tried again the next time
                self.clean()
        return self.sample()

    def clean(self) -> None:
        """Have the part clean its fan; raises NoAnswer, DeviceLost."""
        self.order(self.CLEAN)

    @abstractmethod
    def sample(self) -> Sample | None:
        """Take the newest sample, None if there is none; raises NoAnswer, DeviceLost."""
