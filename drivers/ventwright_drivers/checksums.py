"""The checksums that parts put on the wire; each takes bytes and returns a whole number.

Source: protocols.md sections 1 (CRC-8), 2 (sum) and 11 (CRC-16), all confirmed there.
"""


def _crc8_of_byte(value: int) -> int:
    for _ in range(8):
        value = (value << 1 ^ 0x31) & 0xFF if value & 0x80 else value << 1
    return value


def _crc16_of_byte(value: int) -> int:
    for _ in range(8):
        value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
    return value


_CRC8 = bytes(_crc8_of_byte(i) for i in range(256))
_CRC16 = tuple(_crc16_of_byte(i) for i in range(256))


def crc8_word(data: bytes) -> int:
    """Compute the CRC-8 of I2C words, 0 to 255: polynomial 31, start FF, not reflected."""
    crc = 0xFF
    for byte in data:
        crc = _CRC8[crc ^ byte]
    return crc


def crc16_modbus(data: bytes) -> int:
    """Compute the CRC-16 of Modbus RTU, 0 to 65535; the wire carries its low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _CRC16[(crc ^ byte) & 0xFF]
    return crc


def sum16(data: bytes) -> int:
    """Add all bytes, modulo 65536."""
    return sum(data) & 0xFFFF


def sum8(data: bytes) -> int:
    """Add all bytes, modulo 256."""
    return sum(data) & 0xFF
