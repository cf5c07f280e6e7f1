"""The questions that may be put to an unknown device on a silent serial port, and their answers.

Each only asks for a value; none changes what a part has stored, and none moves a contact. That
holds for every board of protocols.md, whichever of them is at the port:

- Boards that obey A0 frames obey nothing without a byte A0, and no question holds one. Boards
  that obey lines of text need printable words and a line end, 0D or 0A; no question holds either
  of the two. What some of them do at the byte FF is to tell their state.
- Boards that obey Modbus obey a frame whose CRC is right. The one such frame that is sent here is
  function 01, "read coils"; no other run of bytes within all questions together has a right CRC,
  and none has one by a stray byte before it whose function is one that writes.
- The question at 115200 baud lasts 0.61 ms, which is less than one character at the 9600 baud
  of relay boards: they can take it for one character at most, and no command is that short. The
  others, heard by an SPS30 at 115200 baud, hold each level for twelve of its bits, so that it
  hears no flag.
- Parts hear their own reading command, or a frame that is none of theirs: the gas parts with
  nine bytes take FF 01 86 for "read"; 42 4D E2 makes a passive counter send once (an active one
  sends anyway, and is never asked); AA B4 04 asks a dust sensor for its values; 68 01 04 the HPMA.
  A sleeping part is left asleep: waking it would change a setting.

A port on which anything is heard is never spoken to. Opening a port moves its DTR and RTS lines,
which these boards do not mind (from memory), but which restarts the boards of some printers.
"""

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

from ventwright.finding.found import Models
from ventwright.finding.streams import cut, heard
from ventwright_drivers.relay import modbus
from ventwright_drivers.serial import hpma, nine_bytes, sds011, shdlc

_CO2: Models = ("mh-z19b", "mh-z19c")
_HCHO: Models = ("ze08-ch2o", "wz-s")
_LEAST_PPM = 350  # outdoor air has more
_UG_PER_PPB = 30.03 / 24.45
_SPS30 = b"00080000"


class Question(NamedTuple):
    """What is sent, at what speed, for how long an answer is waited for, and what it tells."""

    baud: int
    sent: bytes
    wait_ms: int
    answered: Callable[[bytes], Models]


def _gas(data: bytes) -> Models:
    """Tell CO2 from formaldehyde and CO by the numbers: the frame does not name the gas."""
    for frame in cut(partial(nine_bytes.decode, (0x86,)), data):
        value, filler, ppb = (nine_bytes.word(frame, at) for at in (2, 4, 6))
        if ppb and not filler and abs(ppb * _UG_PER_PPB - value) <= max(2, value / 10):
            return _HCHO
        if value >= _LEAST_PPM:
            return _CO2
        return _CO2 if filler or ppb else ("ze07-co", *_HCHO, *_CO2)
    return ()


def _counter(data: bytes) -> Models:
    return tuple(model for model in heard(data) if model.startswith("pms"))


def _laser(data: bytes) -> Models:
    for reply in cut(hpma.decode, data):
        if not reply.good:
            return ("hpma115s0", "hpma115c0")  # its fan stands
        if reply.body[:1] == b"\x04":
            return ("hpma115s0",) if len(reply.body) == 5 else ("hpma115c0",)
    return ()


def _counter_by_shdlc(data: bytes) -> Models:
    types = (reply.data for reply in cut(shdlc.decode, data) if reply.command == 0xD0)
    return ("sps30",) if any(found.startswith(_SPS30) for found in types) else ()


COILS = modbus.encode(1, modbus.READ, 1, 1)
"""Reads the first coil of the board at address 1."""


def _board(data: bytes) -> Models:
    frames = cut(partial(modbus.decode, COILS), data)
    return ("relay-modbus",) if any(frame != COILS for frame in frames) else ()


def _by_text(data: bytes) -> Models:
    return ("relay-a0",) if b"CH1: O" in data else ()


QUESTIONS = (
    Question(9600, nine_bytes.READ, 500, lambda data: _gas(data) or _by_text(data)),
    Question(9600, bytes.fromhex("42 4D E2 00 00 01 71"), 1000, _counter),
    Question(9600, hpma.request(0x04), 500, _laser),
    Question(9600, sds011.command(0x04), 1500, heard),
    Question(9600, COILS, 500, _board),
    Question(115_200, shdlc.request(0xD0, 0x00), 500, _counter_by_shdlc),
)
"""In the order in which they are put."""
