"""What emulated parts with numbered registers share: a pointer that moves on with every byte."""

from abc import abstractmethod

from ventwright_drivers.emulated.twin import I2CTwin, not_acknowledged


class RegisterTwin(I2CTwin):
    """A part with up to 256 registers of one byte."""

    _pointer = 0
    _deaf_until = 0

    @abstractmethod
    def peek(self, register: int, now: int) -> int:
        """Give the byte, 0 to 255, that a read of `register` gives at `now` (ms)."""

    @abstractmethod
    def poke(self, register: int, value: int, now: int) -> None:
        """Take a byte, 0 to 255, written to `register`; what cannot be written is passed over."""

    def deaf(self, until: int) -> None:
        """Acknowledge nothing before `until` (ms)."""
        self._deaf_until = until

    def split(self, data: bytes) -> list[tuple[int, int]]:
        """Pair registers with the bytes that a write puts there: one after the other."""
        return [(data[0] + i & 0xFF, value) for i, value in enumerate(data[1:])]

    def write(self, data: bytes, now: int) -> None:
        """Set the pointer and write what follows; raises OSError(EREMOTEIO) while deaf."""
        if now < self._deaf_until or not data:
            raise not_acknowledged()
        self._pointer = data[0]
        for register, value in self.split(data):
            self.poke(register, value, now)

    def read(self, size: int, now: int) -> bytes:
        """Give `size` bytes from the pointer on; raises OSError(EREMOTEIO) while deaf."""
        if now < self._deaf_until:
            raise not_acknowledged()
        first, self._pointer = self._pointer, self._pointer + size & 0xFF
        return bytes(self.peek(first + i & 0xFF, now) for i in range(size))
