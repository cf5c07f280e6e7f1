"""Tells from what a serial part sends by itself which part it can be. Pure: bytes in, names out.

Only whole frames with a right checksum count. Source: protocols.md sections 2, 3, 6, 8 and 9.
"""

from collections.abc import Callable, Iterator
from typing import TypeVar

from ventwright.finding.found import Models
from ventwright_drivers.checksums import sum16
from ventwright_drivers.part import Sample
from ventwright_drivers.serial import nine_bytes, sds011
from ventwright_drivers.serial.link import Decoder

T = TypeVar("T")

_HEAD = b"\x42\x4d"
PLAIN: Models = ("pms5003", "pms7003", "pmsa003")
_ANY_28: Models = (*PLAIN, "pms5003t", "pms5003s", "hpma115s0", "hpma115c0")
_DRIEST = 50  # 5 %RH: no room is drier (common practice, no source)
_MOST_HCHO = 10_000  # 10 mg/m³; where others have their version, which is more (from memory)
_BY_LENGTH: dict[int, Models] = {20: ("pms3003",), 28: _ANY_28, 36: ("pms5003st",)}
_BY_GAS = {0x04: ("ze07-co",), 0x17: ("ze08-ch2o", "wz-s")}
_BY_FULL_SCALE: dict[int, Models] = {5000: ("ze08-ch2o",), 2000: ("wz-s",)}


def cut(decode: Decoder[T], data: bytes) -> Iterator[T]:
    """Give all that a decoder finds in `data`."""
    used = 1
    while used and data:
        used, item = decode(data)
        data = data[used:]
        if item is not None:
            yield item


def _laser_frames(data: bytes) -> Iterator[bytes]:
    """Find 42 4D frames of any known length."""
    at = data.find(_HEAD)
    while at >= 0:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        frame = data[at : at + 4 + length]
        whole = length in _BY_LENGTH and len(frame) == 4 + length
        sound = whole and sum16(frame[:-2]) == int.from_bytes(frame[-2:], "big")
        if sound:
            yield frame
        at = data.find(_HEAD, at + (len(frame) if sound else 1))


def _words(frame: bytes) -> list[int]:
    return [int.from_bytes(frame[i : i + 2], "big") for i in range(4, len(frame) - 2, 2)]


def _narrowed(frame: bytes) -> Models:
    """Tell the layouts of length 28 apart where the numbers allow it."""
    words = _words(frame)
    if len(words) != 13 or not any(words[:6]):
        return _BY_LENGTH[len(frame) - 4]
    counts = words[6:12]
    if not any(words[4:]):  # masses alone: the layout of the HPMA
        return ("hpma115s0",) if not words[0] and not words[3] else ("hpma115c0", "hpma115s0")
    if counts != sorted(counts, reverse=True):
        return ("pms5003t",)  # a temperature where others count the coarsest
    formaldehyde = ("pms5003s",) if words[12] <= _MOST_HCHO else ()
    climate = ("pms5003t",) if words[11] >= _DRIEST or not any(words[10:12]) else ()
    return (*PLAIN, *formaldehyde, *climate)


def _laser(data: bytes) -> Models:
    """Narrow by every frame: the first ones after a start are all zero and tell little."""
    found = [_narrowed(frame) for frame in _laser_frames(data)]
    return min(found, key=len, default=())


def _dust(data: bytes) -> Models:
    samples = (item for item in cut(sds011.decode, data) if isinstance(item, Sample))
    return ("sds011",) if any(samples) else ()


def _gas(data: bytes) -> Models:
    for frame in cut(lambda held: nine_bytes.decode(_BY_GAS, held), data):
        if frame[2] in (0x03, 0x04):
            full_scale = nine_bytes.word(frame, 6)
            exact = _BY_FULL_SCALE.get(full_scale, ()) if frame[1] == 0x17 else ()
            return exact or _BY_GAS[frame[1]]
    return ()


_LISTENERS: tuple[Callable[[bytes], Models], ...] = (_laser, _dust, _gas)


def heard(data: bytes) -> Models:
    """Name the parts that can have sent `data`, the likeliest first; () if none of ours."""
    return next((models for listen in _LISTENERS if (models := listen(data))), ())
