"""Frames of every decoder, made and judged by rules written anew from protocols.md.

Nothing here uses the drivers' own checksums, so that what a decoder accepts can be held against
it. Used to fuzz the decoders and to measure how fast they are.
"""

import math
import struct
from collections.abc import Callable
from functools import cache, partial
from random import Random
from typing import Any, NamedTuple

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c import ads1115, bme68x, ens160, pmsa003i, scd4x, sen, sht, sps30
from ventwright_drivers.i2c.words import unpack
from ventwright_drivers.part import Sample
from ventwright_drivers.relay import a0, modbus
from ventwright_drivers.serial import electrochemical, hpma, mh_z19, nine_bytes, pms, sds011, shdlc

Decode = Callable[[bytes], tuple[int, Any]]


class Stream(NamedTuple):
    """A decoder of a stream: how to make a frame, how to judge what was used, and what was read."""

    make: Callable[[Random], bytes]
    decode: Decode
    sound: Callable[[bytes], bool]


class Block(NamedTuple):
    """A decoder of replies of one size; `sound` tells whether a reply may yield anything."""

    make: Callable[[Random], bytes]
    decode: Callable[[bytes], Any]
    sound: Callable[[bytes], bool]


def _small(random: Random, count: int) -> bytes:
    return b"".join(int(random.expovariate(1 / 300)).to_bytes(2, "big") for _ in range(count))


# ---- streams -----------------------------------------------------------------------------------


def _pms_frame(length: int, random: Random) -> bytes:
    body = b"\x42\x4d" + length.to_bytes(2, "big") + _small(random, length // 2 - 1)
    return body + struct.pack(">H", sum(body) % 65_536)


def _pms_sound(length: int, used: bytes) -> bool:
    head = used[:4] == b"\x42\x4d" + bytes((0, length))
    right = len(used) == length + 4 and divmod(sum(used[:-2]) % 65_536, 256) == tuple(used[-2:])
    return head and right


def _sds_frame(random: Random) -> bytes:
    body = random.randbytes(6)
    return bytes((0xAA, random.choice((0xC0, 0xC5)), *body, sum(body) % 256, 0xAB))


def _sds_sound(used: bytes) -> bool:
    return len(used) == 10 and used[0] == 0xAA and sum(used[2:8]) % 256 == used[8]


def _shdlc_frame(random: Random) -> bytes:
    data = random.randbytes(random.choice((0, 1, 4, 5, 7, 20, 40)))
    body = bytes((0, random.choice((0, 3, 0x80, 0xD2)), 0, len(data))) + data
    body += bytes((255 - sum(body) % 256,))
    stuffed = [(0x7D, b ^ 32) if b in (0x7E, 0x7D, 0x11, 0x13) else (b,) for b in body]
    return bytes((0x7E, *(b for pair in stuffed for b in pair), 0x7E))


def _shdlc_sound(used: bytes) -> bool:
    body, escaped = bytearray(), False
    for byte in used[1:-1]:
        if byte == 0x7D:
            escaped = True
            continue
        body.append(byte ^ 32 if escaped else byte)
        escaped = False
    flags = used[:1] == used[-1:] == b"~"
    return flags and sum(body) % 256 == 255 and len(body) == body[3] + 5


def _hpma_frame(random: Random) -> bytes:
    kind = random.randrange(8)
    if kind < 2:
        return (b"\xa5\xa5", b"\x96\x96")[kind]
    if kind == 2:
        return _pms_frame(28, random)
    body = random.randbytes(random.choice((2, 5, 13)))
    frame = bytes((0x40, len(body))) + body
    return frame + bytes((-sum(frame) % 256,))


def _hpma_sound(used: bytes) -> bool:
    if used in (b"\xa5\xa5", b"\x96\x96"):  # the only frames of all without a sum
        return True
    return used[0] == 0x40 and len(used) == used[1] + 3 and sum(used) % 256 == 0


def _nine_frame(heads: tuple[bytes, ...], random: Random) -> bytes:
    head = random.choice(heads)
    body = head + random.randbytes(7 - len(head))
    return b"\xff" + body + bytes((-sum(body) % 256,))


def _nine_sound(used: bytes) -> bool:
    return len(used) == 9 and used[0] == 0xFF and sum(used[1:]) % 256 == 0


def _a0_frame(random: Random) -> bytes:
    body = bytes((0xA0, random.randrange(1, 9), random.randrange(2)))
    return body + bytes((sum(body) % 256,))


def _a0_sound(used: bytes) -> bool:
    return len(used) == 4 and sum(used[:3]) % 256 == used[3]


@cache
def _crc16(data: bytes) -> int:
    crc = 0xFFFF
    for bit in (byte >> i & 1 for byte in data for i in range(8)):
        crc = crc >> 1 ^ (0xA001 if (crc ^ bit) & 1 else 0)
    return crc


_ASK = bytes.fromhex("01 01 00 00 00 01 FD CA")
_MODBUS = tuple(
    bytes.fromhex(text)
    for text in (
        "01 01 01 01 90 48",
        "01 01 01 00 51 88",
        "01 81 02 C1 91",
        "01 05 00 00 FF 00 8C 3A",
    )
)


def _modbus_frame(random: Random) -> bytes:
    return random.choice((*_MODBUS, _ASK))


def _modbus_sound(used: bytes) -> bool:
    sizes = (5, 6, 8)
    return any(_crc16(used[-n:-2]) == int.from_bytes(used[-2:], "little") for n in sizes)


def _electrochemical(gas: electrochemical.Gas) -> Decode:
    def decode(data: bytes) -> tuple[int, Sample | None]:
        used, frame = nine_bytes.decode((gas.code, 0x86), data)
        return used, electrochemical.sample(gas, frame) if frame else None

    return decode


def _mh_z19(data: bytes) -> tuple[int, Sample | None]:
    used, frame = nine_bytes.decode((0x86,), data)
    return used, mh_z19.sample(frame) if frame else None


def _pms(layout: pms.Layout) -> Stream:
    length = layout.length
    return Stream(
        partial(_pms_frame, length), partial(pms.decode, layout), partial(_pms_sound, length)
    )


_UPLOADS = {"co": (b"\x04\x03\x01", b"\x86"), "hcho": (b"\x17\x04\x00", b"\x86")}

STREAMS: dict[str, Stream] = {
    "pms5003, pms7003, pmsa003": _pms(pms.PLAIN),
    "pms5003s": _pms(pms.WITH_HCHO),
    "pms5003t": _pms(pms.WITH_CLIMATE),
    "pms5003st": _pms(pms.WITH_BOTH),
    "pms3003": _pms(pms.SHORT),
    "sds011": Stream(_sds_frame, sds011.decode, _sds_sound),
    "sps30 (serial)": Stream(_shdlc_frame, shdlc.decode, _shdlc_sound),
    "hpma115s0, hpma115c0": Stream(_hpma_frame, hpma.decode, _hpma_sound),
    "mh-z19b, mh-z19c": Stream(partial(_nine_frame, (b"\x86",)), _mh_z19, _nine_sound),
    "ze07-co": Stream(
        partial(_nine_frame, _UPLOADS["co"]), _electrochemical(electrochemical.CO), _nine_sound
    ),
    "ze08-ch2o, wz-s": Stream(
        partial(_nine_frame, _UPLOADS["hcho"]), _electrochemical(electrochemical.HCHO), _nine_sound
    ),
    "relay-a0": Stream(_a0_frame, partial(a0.decode, 1), _a0_sound),
    "relay-modbus": Stream(_modbus_frame, partial(modbus.decode, _ASK), _modbus_sound),
}
"""Decoders that are given whatever came over a serial line."""


# ---- replies over I2C --------------------------------------------------------------------------


@cache
def _crc8(word: bytes) -> int:
    crc = 0xFF
    for byte in word:
        for i in range(7, -1, -1):
            top = (crc >> 7 ^ byte >> i) & 1
            crc = crc << 1 & 0xFF ^ (0x31 if top else 0)
    return crc


def _words(count: int, random: Random) -> bytes:
    words = (random.randbytes(2) for _ in range(count))
    return b"".join(word + bytes((_crc8(word),)) for word in words)


def _words_sound(count: int, reply: bytes) -> bool:
    triples = [reply[i : i + 3] for i in range(0, 3 * count, 3)]
    return len(reply) == 3 * count and all(_crc8(t[:2]) == t[2] for t in triples)


def _guarded(count: int, decode: Callable[[tuple[int, ...]], Any]) -> Block:
    def read(reply: bytes) -> Any:
        try:
            return decode(unpack(reply, 0x62))
        except NoAnswer:
            return None

    return Block(partial(_words, count), read, partial(_words_sound, count))


def _sen(fields: dict[str, sen.Field], count: int) -> Block:
    return _guarded(
        count + 2, lambda words: sen.decode(words[:count], fields, words[count : count + 2])
    )


def _sht(variant: sht.Variant) -> Block:
    def read(reply: bytes) -> Any:
        try:
            return sht.decode(reply, 0x44, variant)
        except NoAnswer:
            return None

    return Block(partial(_words, 2), read, partial(_words_sound, 2))


def _sgp(count: int) -> Block:
    return _guarded(count, lambda words: Sample(tuple(map(float, words))))


def _whatever(_: bytes) -> bool:
    return True


def _bme(kind: bme68x.Kind) -> Block:
    """Calibration and results at once: 46 and 15 bytes."""

    def read(data: bytes) -> Any:
        calibration = bme68x.decode_calibration(data[:25], data[25:41], data[41:46])
        bme68x.plate_code(calibration, 320)
        return bme68x.decode(data[46:61], calibration, kind)

    return Block(lambda random: random.randbytes(61), read, _whatever)


def _ads(**calibration: Any) -> Block:
    options = ads1115.Ads1115Options(**calibration)

    def read(data: bytes) -> Any:
        mv = ads1115.decode(data, options.full_scale)
        return None if mv is None else Sample((ads1115.value(mv, options),))

    return Block(lambda random: random.randbytes(2), read, _whatever)


def _pmsa003i(frame: bytes) -> Any:
    return pms.decode(pms.PLAIN, frame)[1]


BLOCKS: dict[str, Block] = {
    "pmsa003i": Block(partial(_pms_frame, 28), _pmsa003i, partial(_pms_sound, 28)),
    "sps30 (I2C)": _guarded(20, lambda words: sps30.sample(sps30.floats(words))),
    "sen54": _sen(sen.Sen54.fields, 8),
    "sen55": _sen(sen.Sen55.fields, 8),
    "sen66": _sen(sen.Sen66.fields, 9),
    "sen68": _sen(sen.Sen68.fields, 9),
    "scd40, scd41": _guarded(3, scd4x.decode),
    "sgp40": _sgp(1),
    "sgp41": _sgp(2),
    "sht30, sht31, sht35": _sht(sht.SHT3X),
    "sht40, sht41, sht45": _sht(sht.SHT4X),
    "ens160 (no CRC)": Block(lambda random: random.randbytes(6), ens160.decode, _whatever),
    "bme680 (no CRC)": _bme(bme68x.BME680),
    "bme688 (no CRC)": _bme(bme68x.BME688),
    "ads1115, voltage (no CRC)": _ads(quantity="co", zero_mv=400.0, mv_per_unit=-0.1),
    "ads1115, resistance (no CRC)": _ads(quantity="gas_resistance", load=1e4),
}
"""Decoders that are given one reply over I2C."""

assert pmsa003i.Pmsa003I.quantities == pms.PLAIN.fields


def honest(found: Any) -> bool:
    """Tell whether a reading has only values that are numbers, or none."""
    if not isinstance(found, Sample):
        return True
    return all(value is None or math.isfinite(value) for value in found.values)
