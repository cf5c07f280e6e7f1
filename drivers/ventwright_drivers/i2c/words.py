"""16-bit words as I2C parts send them: big endian, each followed by its CRC-8.

Pure: bytes in, numbers out, and back. Source: protocols.md section 1, confirmed there.
"""

from ventwright_drivers.checksums import crc8_word
from ventwright_drivers.errors import NoAnswer

UNIT = 3
"""Bytes that a word takes on the wire: two of the word, one CRC."""


def pack(*words: int) -> bytes:
    """Write words, 0 to 65535 each, with their CRCs."""
    raw = (word.to_bytes(2, "big") for word in words)
    return b"".join(pair + bytes((crc8_word(pair),)) for pair in raw)


def command(code: int, *words: int) -> bytes:
    """Write a 16-bit command, which carries no CRC, and the words that go with it."""
    return code.to_bytes(2, "big") + pack(*words)


def unpack(reply: bytes, address: int) -> tuple[int, ...]:
    """Read the words, 0 to 65535, of a reply from `address`; raises NoAnswer on a wrong CRC."""
    units = [reply[i : i + UNIT] for i in range(0, len(reply), UNIT)]
    for unit in units:
        if len(unit) != UNIT or crc8_word(unit[:2]) != unit[2]:
            raise NoAnswer(f"I2C address 0x{address:02X} sent garbage: {reply.hex(' ')}")
    return tuple(int.from_bytes(unit[:2], "big") for unit in units)


def signed(word: int) -> int:
    """Take a word as two's complement, −32768 to 32767."""
    return word - 0x10000 if word & 0x8000 else word


def celsius(word: int) -> float:
    """Scale a word to a temperature, −45 to 130 °C, as SHT and SCD parts do."""
    return -45 + 175 * word / 65535
