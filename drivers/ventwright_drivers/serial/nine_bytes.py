"""The frame of nine bytes that several gas parts share: FF, seven bytes, and their sum negated.

Both directions use it; the byte after FF tells what a frame is. Source: protocols.md sections 7
to 9, confirmed there.
"""

from collections.abc import Container

_HEAD = 0xFF
SIZE = 9
"""Bytes of a frame."""


def checksum(body: bytes) -> int:
    """Compute the last byte, 0 to 255, from the seven between it and FF."""
    return -sum(body) & 0xFF


def request(code: int, *values: int) -> bytes:
    """Build a command of a code and up to five bytes, 0 to 255 each."""
    body = bytes((0x01, code, *values)).ljust(SIZE - 2, b"\0")
    return bytes((_HEAD, *body, checksum(body)))


READ = request(0x86)
"""Asks for the present value; changes nothing."""


def _sound(kinds: Container[int], frame: bytes) -> bool:
    """Check the sum, and that no second frame begins inside: a sum of one byte is weak."""
    heads = range(1, SIZE - 1)
    inner = any(frame[i] == _HEAD and frame[i + 1] in kinds for i in heads)
    return frame[-1] == checksum(frame[1:-1]) and not inner


def decode(kinds: Container[int], data: bytes) -> tuple[int, bytes | None]:
    """Cut the first frame whose second byte is one of `kinds`. Never raises."""
    if data[:1] != b"\xff" or (len(data) > 1 and data[1] not in kinds):
        at = data.find(b"\xff", 1)
        return (len(data) if at < 0 else at), None
    if len(data) < SIZE:
        return 0, None
    frame = data[:SIZE]
    return (SIZE, frame) if _sound(kinds, frame) else (1, None)


def word(frame: bytes, at: int) -> int:
    """Read two bytes at an offset, high byte first: 0 to 65535."""
    return int.from_bytes(frame[at : at + 2], "big")
