"""Checksums against published vectors and an independent CRC library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU

from ventwright_drivers.checksums import crc8_word, crc16_modbus, sum8, sum16

# Computed there; BE EF -> 92 is the datasheet's own. protocols.md section 1.
CRC8 = (
    "BEEF92 000081 0001B0 FFFFAC 7FFF8F 8000A2 666693 6667A2 01F433 5EB93C 0300AC 0500F6 800604"
    " 07E648 D400C6"
)

# protocols.md section 11: the spec check 02 07 -> 41 12 and whole frames, CRC low byte first.
MODBUS = (
    "02 07 41 12",
    "01 01 00 13 00 13 8C 02",
    "01 01 03 CD 6B 05 42 82",
    "01 05 00 AC FF 00 4C 1B",
    "01 0F 00 13 00 0A 02 CD 01 72 CB",
    "01 0F 00 13 00 0A 24 09",
    "01 85 02 C3 51",
    "00 05 00 00 FF 00 8D EB",
)


@pytest.mark.parametrize("vector", CRC8.split())
def test_crc8_vectors(vector: str) -> None:
    data = bytes.fromhex(vector)
    assert crc8_word(data[:2]) == data[2]


@pytest.mark.parametrize("frame", MODBUS)
def test_modbus_frames(frame: str) -> None:
    data = bytes.fromhex(frame)
    assert crc16_modbus(data[:-2]).to_bytes(2, "little") == data[-2:]


@given(st.binary(max_size=64))
def test_crc16_agrees_with_pymodbus(data: bytes) -> None:
    assert crc16_modbus(data).to_bytes(2, "little") == FramerRTU.compute_CRC(data).to_bytes(
        2, "big"
    )


@given(st.binary(max_size=64))
def test_crc8_over_its_own_crc_is_zero(data: bytes) -> None:
    assert crc8_word(data + bytes([crc8_word(data)])) == 0


def test_sums_wrap() -> None:
    assert sum16(b"\xff" * 300) == 300 * 255 & 0xFFFF
    assert sum8(b"\xff\x02") == 1
    assert sum16(bytes.fromhex("424DE10000")) == 0x0170  # datasheet, protocols.md section 2
