"""What parts with numbered registers share. They have no CRC, so what counts is read twice."""

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2CPart


class RegisterPart(I2CPart):
    """A part whose registers are read from an address upwards."""

    checked = False

    def get(self, register: int, size: int = 1) -> bytes:
        """Read `size` bytes from `register` on; raises NoAnswer, DeviceLost."""
        return self.link.exchange(bytes((register,)), size)

    def sure(self, register: int, size: int) -> bytes:
        """Read bytes twice; raises NoAnswer where the two differ, as on a bad wire, DeviceLost."""
        first, second = self.get(register, size), self.get(register, size)
        if first != second:
            where = f"I2C address 0x{self.options.address:02X}"
            raise NoAnswer(f"{where} sent {first.hex(' ')}, and then {second.hex(' ')}")
        return first

    def put(self, register: int, data: bytes) -> None:
        """Write bytes to `register`; raises NoAnswer, DeviceLost."""
        self.link.write(bytes((register,)) + data)
