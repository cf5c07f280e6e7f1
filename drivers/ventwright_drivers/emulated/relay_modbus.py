"""The emulated Modbus RTU relay board: functions 01, 05 and 0F, exceptions, and silence.

Source: protocols.md section 11. The rule of 1.5 characters within a frame is not kept, for
time here has a grain of 1 ms.
"""

from ventwright_drivers.emulated.twin import SerialTwin

_READ, _WRITE, _WRITE_MANY = 0x01, 0x05, 0x0F
_FUNCTION, _ADDRESS, _VALUE = 1, 2, 3


class _Exception(Exception):
    def __init__(self, code: int) -> None:
        self.code = code


def _crc(data: bytes) -> bytes:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc.to_bytes(2, "little")


class ModbusTwin(SerialTwin):
    """A board with open contacts after power-up and no watchdog."""

    models = ("relay-modbus",)

    def __init__(
        self, address: int = 1, coils: int = 8, baud: int = 9600, echo: bool = False
    ) -> None:
        """Power up; `echo` stands for an adapter that returns what the host sends."""
        self.contacts = [False] * coils
        self.history: list[tuple[int, int, bool]] = []
        """Every change: time (ms), coil from 1, state."""
        self._address = address
        self._echo = echo
        self._silence = max(2, -(-38_500 // baud))
        self._heard = b""
        self._end = 0  # when the line is silent long enough for the frame to be over
        self._now = 0
        self._out = b""

    def due(self) -> int | None:
        """Tell when the request will be over and answered, None if there is none."""
        if self._out:
            return 0
        return self._end if self._heard else None

    def emit(self, now: int) -> bytes:
        """Give echo and answer."""
        self._over(now)
        out, self._out = self._out, b""
        return out

    def receive(self, data: bytes, now: int) -> None:
        """Take bytes; a frame is what comes without a silence of 3.5 characters in it."""
        self._over(now)
        self._heard += data
        self._end = now + self._silence
        if self._echo:
            self._out += data

    def _over(self, now: int) -> None:
        if self._heard and now >= self._end:
            frame, self._heard = self._heard, b""
            self._now = self._end
            self._frame(frame)

    def _frame(self, frame: bytes) -> None:
        if len(frame) < 4 or _crc(frame[:-2]) != frame[-2:] or frame[0] not in (0, self._address):
            return
        try:
            reply = self._obey(frame[1], frame[2:-2])
        except _Exception as error:
            reply = bytes((frame[1] | 0x80, error.code))
        if frame[0]:
            reply = bytes((self._address,)) + reply
            self._out += reply + _crc(reply)

    def _obey(self, function: int, data: bytes) -> bytes:
        act = {_READ: self._read, _WRITE: self._write, _WRITE_MANY: self._write_many}
        if function not in act:
            raise _Exception(_FUNCTION)
        if len(data) < 4:
            raise _Exception(_VALUE)
        first, value = (int.from_bytes(data[i : i + 2], "big") for i in (0, 2))
        return bytes((function,)) + act[function](first, value, data)

    def _range(self, first: int, count: int) -> range:
        if first + count > len(self.contacts):
            raise _Exception(_ADDRESS)
        return range(first, first + count)

    def _read(self, first: int, count: int, data: bytes) -> bytes:
        if not 1 <= count <= 2000 or len(data) != 4:
            raise _Exception(_VALUE)
        bits = sum(self.contacts[i] << n for n, i in enumerate(self._range(first, count)))
        size = (count + 7) // 8
        return bytes((size,)) + bits.to_bytes(size, "little")

    def _write(self, coil: int, value: int, data: bytes) -> bytes:
        if value not in (0, 0xFF00) or len(data) != 4:
            raise _Exception(_VALUE)
        for i in self._range(coil, 1):
            self._switch(i, value != 0)
        return data

    def _write_many(self, first: int, count: int, data: bytes) -> bytes:
        size = (count + 7) // 8
        if not 1 <= count <= 1968 or len(data) != 5 + size or data[4] != size:
            raise _Exception(_VALUE)
        bits = int.from_bytes(data[5:], "little")
        for n, i in enumerate(self._range(first, count)):
            self._switch(i, bool(bits >> n & 1))
        return data[:4]

    def _switch(self, index: int, on: bool) -> None:
        if self.contacts[index] is not on:
            self.contacts[index] = on
            self.history.append((self._now, index + 1, on))
