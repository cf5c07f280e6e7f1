"""What every part is to the daemon: options, quantities, a start, and one sample after another.

A driver file holds a pure decoder and one thin class. The class is built from its options and
the wiring, touches the wire only in `start` and after, and can be closed and started again.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar, NamedTuple, Protocol, Self

from ventwright_drivers.clock import Clock


class Sample(NamedTuple):
    """One measurement: a value a quantity (None = the part gives none), and what ails the part."""

    values: tuple[float | None, ...]
    fault: str = ""
    failed: frozenset[str] | None = None
    """The quantities that the fault concerns; None for all of them."""


class SerialPort(Protocol):
    """The part of pyserial's Serial that links use."""

    def fileno(self) -> int:
        """Give the descriptor to wait on."""

    def read(self, size: int) -> bytes:
        """Take up to `size` bytes that have arrived."""

    def write(self, data: bytes, /) -> int | None:
        """Send bytes."""

    def close(self) -> None:
        """Close the port."""


class RawBus(Protocol):
    """The part of smbus2's SMBus that the I2C link uses."""

    def i2c_rdwr(self, *messages: Any) -> None:
        """Do one combined transfer of i2c_msg objects."""

    def close(self) -> None:
        """Close the bus."""


class GpioRequest(Protocol):
    """The part of gpiod's LineRequest that GPIO relays use."""

    def set_value(self, line: int, value: Any) -> None:
        """Drive a line to a logical value."""

    def get_value(self, line: int) -> Any:
        """Read a line's logical value."""

    def release(self) -> None:
        """Give the lines back."""


class GpioEdges(GpioRequest, Protocol):
    """The part of gpiod's LineRequest that is needed for lines with edge detection."""

    def wait_edge_events(self, timeout: float) -> bool:
        """Tell whether an edge event comes within `timeout` s; 0 does not wait."""

    def read_edge_events(self) -> list[Any]:
        """Take the gpiod.EdgeEvent objects that the kernel holds; blocks if there are none."""


@dataclass(frozen=True)
class Wiring:
    """Every way from a driver to the outside; tests and rehearsals hand over their own.

    `open_port(path, baud, parity, stop_bits)`, `open_bus(number)` and
    `request_lines(path, consumer=..., config=...)` raise OSError where the real ones do.
    """

    clock: Clock
    open_port: Callable[[str, int, str, int], SerialPort]
    open_bus: Callable[[int], RawBus]
    request_lines: Callable[..., GpioRequest]


class Device(ABC):
    """A part or a relay: something at a place, with options, started and closed at will."""

    model: ClassVar[str]
    """The plain part number by which the configuration names it."""

    Options: ClassVar[type[Any]]
    """A frozen dataclass of the options that the configuration may set."""

    def __init__(self, options: Any, wiring: Wiring) -> None:
        """Remember options and wiring; touches no wire and cannot fail for want of one."""
        self.options = options
        self.wiring = wiring
        self.clock = wiring.clock

    @abstractmethod
    def start(self) -> None:
        """Open the wire and set the device up; raises DeviceLost, NoAnswer or Refused."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the wire; harmless when called twice or before start."""

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Part(Device):
    """A sensor part."""

    quantities: tuple[str, ...]
    """Names from quantities.QUANTITIES, in the order of Sample.values: the class has all that
    such a part can measure, a part that was built has what its options choose."""

    period_ms: ClassVar[int] = 1000
    """Time between samples, ms, as the daemon asks for them or as the part sends them."""

    silence_ms: ClassVar[int] = 10_000
    """The longest time without a sample that is still normal, ms."""

    warm_up_ms: ClassVar[int] = 0
    """Time after power-up or start during which values are not to be judged, ms."""

    settle_ms: ClassVar[Mapping[str, int]] = MappingProxyType({})
    """The same for quantities that take longer than the part's warm-up, by name, ms."""

    paced_by_part: ClassVar[bool] = False
    """True where the part sends by itself and `read` waits for it."""

    optical_mass: ClassVar[bool] = False
    """True for optical particle parts: constant values are suspect, ultrafine are not seen."""

    checked: ClassVar[bool] = True
    """False where the wire has no checksum: the daemon then asks if the air can change so fast."""

    laser_hours: ClassVar[int | None] = None
    """The published life of the laser, hours of light; None where none is published."""

    rest_ms: int = 0
    """For how long at a time the part rests between measurements, ms."""

    restarts: int = 0
    """How often the part began to warm up anew without a `start`: after a rest or a cleaning."""

    def __init__(self, options: Any, wiring: Wiring) -> None:
        """Remember options and wiring, and what is measured with these options."""
        super().__init__(options, wiring)
        self.quantities = self.quantities_of(options)

    @classmethod
    def quantities_of(cls, options: Any) -> tuple[str, ...]:  # noqa: ARG003 - for those who choose
        """Name the quantities that a part with `options` measures: all, unless overridden."""
        return cls.quantities

    @property
    @abstractmethod
    def place(self) -> str:
        """Name the port or bus; parts of one place are polled by one thread."""

    @abstractmethod
    def read(self) -> Sample | None:
        """Take the next sample; None if the part has nothing new yet.

        Raises NoAnswer after `silence_ms` without a valid one, DeviceLost, Refused.
        """


class Relay(Device):
    """A switched output. Neither building nor starting it ever changes the contact."""

    @abstractmethod
    def switch(self, on: bool) -> None:
        """Command the contact: True closes it. Raises DeviceLost, NoAnswer or Refused."""

    @abstractmethod
    def state(self) -> bool | None:
        """Read the contact back; None where the board cannot tell."""
