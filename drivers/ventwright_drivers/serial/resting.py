"""Laser parts that may rest between measurements, for their life is counted in hours of light.

A part that rests sleeps for the minutes that its option says, is woken, warms up anew, and
measures for half a minute. Source: protocols.md sections 2, 3 and 6, for lives and commands.
"""

from abc import abstractmethod
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar

from annotated_types import Interval

from ventwright_drivers.part import Sample, Wiring
from ventwright_drivers.serial.link import FramedPart, SerialOptions

MEASURING_MS = 30_000
"""How long a part measures, once it is warm, before it rests again."""

_MINUTE_MS = 60_000

T = TypeVar("T")


@dataclass(frozen=True)
class RestingOptions(SerialOptions):
    """Where a laser part is, and whether it may rest."""

    rest: Annotated[int, Interval(ge=0, le=30)] = 0
    """Minutes for which fan and laser rest between two measurements of half a minute, 0 to 30;
    0 measures on end. While it rests nothing is seen: a print is noticed that much later."""


class RestingPart(FramedPart[T], Generic[T]):
    """A laser part that can be put to sleep and woken."""

    Options = RestingOptions
    _rest_at: int | None = None
    _wake_at: int | None = None

    def __init__(self, options: Any, wiring: Wiring) -> None:
        """Remember options and wiring; a rest is silence that is normal."""
        super().__init__(options, wiring)
        self.rest_ms = _MINUTE_MS * options.rest
        self.silence_ms = self.mute_ms + self.rest_ms  # type: ignore[misc]  # of this one part

    @property
    def mute_ms(self) -> int:
        """How long a part that is awake may be silent, ms."""
        return type(self).silence_ms

    def start(self) -> None:
        """Open the port, and wake and prepare the part; raises as every part does."""
        super().start()
        self._begin()

    def _begin(self) -> None:
        window = self.warm_up_ms + MEASURING_MS
        self._rest_at = self.clock.now() + window if self.rest_ms else None
        self._wake_at = None

    def read(self) -> Sample | None:
        """Take the newest sample, None while the part rests; raises NoAnswer, DeviceLost."""
        now = self.clock.now()
        if self._wake_at is not None:
            if now < self._wake_at:
                return None
            self.link.discard()
            self.wake()
            self.restarts += 1
            self._begin()
        elif self._rest_at is not None and now >= self._rest_at:
            self.sleep()
            self._wake_at = self.clock.now() + self.rest_ms
            return None
        return self.sample()

    @abstractmethod
    def sample(self) -> Sample:
        """Wait for the newest sample of a part that is awake; raises NoAnswer, DeviceLost."""

    @abstractmethod
    def sleep(self) -> None:
        """Stop fan and laser; raises as `sample`."""

    @abstractmethod
    def wake(self) -> None:
        """Start fan and laser; raises as `sample`."""
