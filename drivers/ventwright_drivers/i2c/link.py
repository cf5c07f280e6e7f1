"""An I2C bus shared by its parts: one lock, whole transfers, retries on errors worth retrying.

Knows addresses and bytes; knows no part. Words with a CRC are in words.py.
"""

import contextlib
import errno
import threading
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, TypeVar

from annotated_types import Ge
from smbus2 import i2c_msg

from ventwright_drivers.clock import Clock
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.part import Part, RawBus, Sample, Wiring

RETRIED = frozenset({errno.EREMOTEIO, errno.ENXIO, errno.ETIMEDOUT, errno.EAGAIN})
"""Not acknowledged (two adapters' codes), stretched too long, arbitration lost."""

_TRIES = 3
_PAUSE_MS = 3

T = TypeVar("T")
Transfer = Callable[..., Any]
"""Does one combined transfer of i2c_msg objects, as smbus2's `i2c_rdwr`; raises OSError."""


@dataclass(frozen=True)
class I2COptions:
    """Where an I2C part is."""

    bus: Annotated[int, Ge(0)] = 1
    """Number of the bus: 1 is /dev/i2c-1."""


def open_smbus(number: int) -> RawBus:
    """Open /dev/i2c-`number` by smbus2; raises OSError."""
    from smbus2 import SMBus

    return SMBus(number)


def exchange(transfer: Transfer, address: int, data: bytes, size: int) -> bytes:
    """Write `data` and read `size` bytes without letting the bus go; raises OSError."""
    message = i2c_msg.read(address, size)
    transfer(i2c_msg.write(address, data), message)
    return bytes(message)


class _Shared:
    """An open bus and its lock, kept as long as some part uses it."""

    def __init__(self, wiring: Wiring, raw: RawBus) -> None:
        self.wiring = wiring  # kept alive, so that its id in the key stays its own
        self.raw = raw
        self.lock = threading.Lock()
        self.users = 0


_open: dict[tuple[int, int], _Shared] = {}
_open_lock = threading.Lock()


def _refused(error: OSError) -> str:
    """Say why a bus does not open and what to do, as the rest of a sentence."""
    if error.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return "is not there: is I2C switched on in the board's settings?"
    if error.errno in (errno.EACCES, errno.EPERM):
        return "may not be opened by this user: sudo usermod -aG i2c USER, then log in again"
    return f"does not open: {error.strerror or error}"


class I2CLink:
    """One part's way to its bus; all links to a bus number share one descriptor and one lock."""

    def __init__(self, wiring: Wiring, number: int, address: int) -> None:
        """Join the bus, opening it if nobody has; raises DeviceLost."""
        self.clock: Clock = wiring.clock
        self.address = address
        self.number = number
        self._key = (id(wiring), number)
        with _open_lock:
            if self._key not in _open:
                try:
                    _open[self._key] = _Shared(wiring, wiring.open_bus(number))
                except OSError as error:
                    raise DeviceLost(f"I2C bus {number} {_refused(error)}") from error
            self._shared: _Shared | None = _open[self._key]
            self._shared.users += 1

    def _bus(self) -> _Shared:
        if self._shared is None:
            raise DeviceLost(f"I2C bus {self.number} is not open")
        return self._shared

    def _forget(self, shared: _Shared) -> None:
        """Let nobody join `shared` any more; must hold the lock of all open buses."""
        if _open.get(self._key) is shared:
            del _open[self._key]

    def _lost(self, shared: _Shared, error: OSError) -> DeviceLost:
        """Have whoever reopens get a fresh descriptor, though others still hold the dead one."""
        with _open_lock:
            self._forget(shared)
        return DeviceLost(f"I2C bus {self.number} failed: {error}")

    def transact(self, work: Callable[[Transfer], T]) -> T:
        """Let `work` do transfers that no other part may come between; all again at each try.

        Raises NoAnswer after three tries or as soon as `work` does, DeviceLost.
        """
        shared = self._bus()
        for attempt in range(1, _TRIES + 1):
            try:
                with shared.lock:
                    return work(shared.raw.i2c_rdwr)
            except NoAnswer:  # what `work` says of an answer, not a failed transfer
                raise
            except OSError as error:
                if error.errno not in RETRIED:
                    raise self._lost(shared, error) from error
                if attempt == _TRIES:
                    raise self._mute(error) from error
            self.clock.sleep_until(self.clock.now() + _PAUSE_MS)
        raise AssertionError  # the last try returns or raises

    def _mute(self, error: OSError) -> NoAnswer:
        where = f"I2C address 0x{self.address:02X} on bus {self.number}"
        return NoAnswer(f"nothing answers at {where}: {error.strerror or error}")

    def write(self, data: bytes) -> None:
        """Write `data` to the part; raises NoAnswer after three tries, DeviceLost."""
        self.transact(lambda transfer: transfer(i2c_msg.write(self.address, data)))

    def read(self, size: int) -> bytes:
        """Read `size` bytes from the part; raises NoAnswer after three tries, DeviceLost."""
        message = i2c_msg.read(self.address, size)
        self.transact(lambda transfer: transfer(message))
        return bytes(message)

    def exchange(self, data: bytes, size: int) -> bytes:
        """Write and read in one transfer, as parts with registers need it; raises as `read`."""
        return self.transact(lambda transfer: exchange(transfer, self.address, data, size))

    def close(self) -> None:
        """Leave the bus; the last one closes it."""
        shared, self._shared = self._shared, None
        if shared is None:
            return
        with _open_lock:
            shared.users -= 1
            if not shared.users:
                self._forget(shared)
                with contextlib.suppress(OSError):
                    shared.raw.close()


class I2CPart(Part):
    """A part on an I2C bus."""

    Options: ClassVar[type[Any]] = I2COptions
    _link: I2CLink | None = None
    _heard = 0

    @property
    def place(self) -> str:
        """The bus, as a path."""
        return f"/dev/i2c-{self.options.bus}"

    @property
    def link(self) -> I2CLink:
        """The joined bus; raises DeviceLost before start and after close."""
        if self._link is None:
            raise DeviceLost(f"{self.place} is not open")
        return self._link

    def start(self) -> None:
        """Join the bus and let the part prepare itself; raises DeviceLost, NoAnswer."""
        self.close()
        self._link = I2CLink(self.wiring, self.options.bus, self.options.address)
        try:
            self.prepare()
        except BaseException:
            self.close()
            raise
        self._heard = self.clock.now()

    def prepare(self) -> None:
        """Send what the part needs before it measures; nothing by default."""

    @abstractmethod
    def measure(self) -> Sample | None:
        """Try once for a sample; None if there is nothing new; raises NoAnswer, DeviceLost."""

    def read(self) -> Sample | None:
        """Take a sample; None if nothing new or nothing valid came.

        Raises NoAnswer once `silence_ms` have passed without a valid one, DeviceLost at once.
        """
        sample, cause = self._attempt()
        if sample is not None:
            self._heard = self.clock.now()
        elif self.clock.now() - self._heard >= self.silence_ms:
            silence = f"{self.model} gave nothing valid for {self.silence_ms / 1000:g} s"
            raise NoAnswer(f"{silence}: {cause or 'it has nothing new'}") from cause
        return sample

    def _attempt(self) -> tuple[Sample | None, NoAnswer | None]:
        try:
            return self.measure(), None
        except NoAnswer as error:
            return None, error

    def ask(self, request: bytes, size: int, wait_ms: int) -> bytes:
        """Write a request, wait out its execution time, read `size` bytes; raises as the link."""
        self.link.write(request)
        self.pause(wait_ms)
        return self.link.read(size)

    def pause(self, ms: int) -> None:
        """Wait out a command's execution time."""
        self.clock.sleep_until(self.clock.now() + ms)

    def close(self) -> None:
        """Leave the bus."""
        link, self._link = self._link, None
        if link is not None:
            link.close()
