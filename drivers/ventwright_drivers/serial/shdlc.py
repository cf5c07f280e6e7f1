"""Frames between two 7E flags, with four bytes stuffed and a sum inverted (SHDLC).

Pure: bytes in, frames out, and back. Source: protocols.md section 4, confirmed there.
"""

from typing import NamedTuple

from ventwright_drivers.checksums import sum8

_FLAG, _ESCAPE = b"\x7e", b"\x7d"
_STUFFED = frozenset((0x7E, 0x7D, 0x11, 0x13))
_FLIP = 0x20
_LONGEST = 200  # bytes between flags; the longest reply that we ask for has 94


class Reply(NamedTuple):
    """An answer: its command, its state (0 = well, bit 7 = the device has an error), its data."""

    command: int
    state: int
    data: bytes


def _checksum(content: bytes) -> int:
    return 0xFF - sum8(content)


def request(command: int, *values: int) -> bytes:
    """Build a request to address 0 of a command and its bytes, 0 to 255 each."""
    content = bytes((0, command, len(values), *values))
    return _FLAG + _stuff(content + bytes((_checksum(content),))) + _FLAG


def _stuff(content: bytes) -> bytes:
    pairs = (_ESCAPE + bytes((b ^ _FLIP,)) if b in _STUFFED else bytes((b,)) for b in content)
    return b"".join(pairs)


def _unstuff(content: bytes) -> bytes:
    """Undo `_stuff`; b"" where the content cannot have come from it."""
    first, *rest = content.split(_ESCAPE)
    if not all(part and part[0] ^ _FLIP in _STUFFED for part in rest):
        return b""
    return first + b"".join(bytes((part[0] ^ _FLIP,)) + part[1:] for part in rest)


def _reply(stuffed: bytes) -> Reply | None:
    content = _unstuff(stuffed)
    if len(content) < 5 or content[-1] != _checksum(content[:-1]):
        return None
    address, command, state, length = content[:4]
    data = content[4:-1]
    return Reply(command, state, data) if not address and length == len(data) else None


def decode(data: bytes) -> tuple[int, Reply | None]:
    """Decode the first reply from address 0. Never raises.

    The flag that ends something unusable may be the one that begins a frame, so it is kept.
    """
    if data[:1] != _FLAG:
        at = data.find(_FLAG)
        return (len(data) if at < 0 else at), None
    end = data.find(_FLAG, 1)
    if end < 0:
        return (1 if len(data) > _LONGEST else 0), None
    reply = _reply(data[1:end])
    return (end, None) if reply is None else (end + 1, reply)
