"""The laser particle counters that send 42 4D frames: one decoder, and a table of layouts.

Parts with a length of 28 cannot be told apart on the wire, so the configured model decides.
Source: protocols.md section 2, confirmed there except where a line here says "from memory".
"""

import struct
from operator import truediv
from typing import ClassVar, NamedTuple

from ventwright_drivers.checksums import sum16
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.link import FramedPart
from ventwright_drivers.serial.resting import RestingPart

ACTIVE = bytes.fromhex("42 4D E1 00 01 01 71")
"""Makes an awake part send by itself."""

WAKE = bytes.fromhex("42 4D E4 00 01 01 74")
"""Wakes a sleeping part, which then sends by itself; never acknowledged."""

SLEEP = bytes.fromhex("42 4D E4 00 00 01 73")
"""Stops fan and laser."""

LIFE_HOURS = 26_280
"""Three years or more between failures (from memory)."""

MIXED = "it counts more large particles than small ones: are these the words of another model?"
"""What ails a part whose counts cannot be true: a pms5003t taken for a pms5003, say."""

_HEADER = b"\x42\x4d"
_ACK = 4  # the length field of a reply to a command


class Words(NamedTuple):
    """Neighbouring words: their quantities, how many counts make one unit, their signs."""

    names: tuple[str, ...]
    per_unit: int = 1
    form: str = "H"


class Layout(NamedTuple):
    """One row of the table: the length field, what the words from offset 10 on mean, the error."""

    length: int
    fields: tuple[str, ...]
    per_unit: tuple[int, ...]
    form: struct.Struct
    counts: slice
    error_at: int | None


def _layout(length: int, error_at: int | None, *words: Words) -> Layout:
    fields = tuple(name for group in words for name in group.names)
    per_unit = tuple(group.per_unit for group in words for _ in group.names)
    form = struct.Struct(">" + "".join(group.form * len(group.names) for group in words))
    sizes = sum(name.startswith("n") for name in fields)
    return Layout(length, fields, per_unit, form, slice(3, 3 + sizes), error_at)


_MASS = Words(("pm1", "pm2_5", "pm10"))  # "atmospheric", µg/m³
_SMALL = Words(("n0_3", "n0_5", "n1", "n2_5"), 100)  # 1/0.1 L on the wire, 1/cm³ here
_LARGE = Words(("n5", "n10"), 100)
_HCHO = Words(("hcho",))  # 1/1000 mg/m³ on the wire, µg/m³ here
_CLIMATE = (Words(("temperature",), 10, "h"), Words(("humidity",), 10))

PLAIN = _layout(28, 29, _MASS, _SMALL, _LARGE)
WITH_HCHO = _layout(28, None, _MASS, _SMALL, _LARGE, _HCHO)  # from memory
WITH_CLIMATE = _layout(28, 29, _MASS, _SMALL, *_CLIMATE)
WITH_BOTH = _layout(36, 37, _MASS, _SMALL, _LARGE, _HCHO, *_CLIMATE)
SHORT = _layout(20, None, _MASS)


def _sample(layout: Layout, frame: bytes) -> Sample:
    raw = layout.form.unpack_from(frame, 10)
    values: list[float | None] = list(map(truediv, raw, layout.per_unit))
    counts = list(raw[layout.counts])
    mixed = counts != sorted(counts, reverse=True)
    if mixed:
        values[layout.counts] = [None] * len(counts)
    error = 0 if layout.error_at is None else frame[layout.error_at]
    if mixed and not error:
        return Sample(tuple(values), MIXED, frozenset(layout.fields[layout.counts]))
    return Sample(tuple(values), f"error byte {error:02X}" if error else "")


def _sound(frame: bytes) -> bool:
    """Check the sum, and that no second frame begins inside: the sum of small numbers is weak.

    Where bytes were lost, the head of one frame and the head of the next do pass for one frame
    now and then.
    """
    right = sum16(frame[:-2]) == int.from_bytes(frame[-2:], "big")
    return right and frame.find(frame[:4], 4) < 0


def decode(layout: Layout, data: bytes) -> tuple[int, Sample | None]:
    """Decode the first 42 4D frame: mass 0 to 65535 µg/m³, number 0 to 655.35 1/cm³.

    Formaldehyde comes in µg/m³, temperature in °C, humidity in %RH. Acknowledgements are
    skipped. Counts are cumulative (from memory): where a larger size is counted more often
    than a smaller one, all counts are None. Never raises.
    """
    if not data.startswith(_HEADER[: len(data)]):
        at = data.find(_HEADER[:1], 1)
        return (len(data) if at < 0 else at), None
    length = int.from_bytes(data[2:4], "big")
    if len(data) >= 4 and length not in (layout.length, _ACK):
        return 1, None
    size = 4 + length
    if len(data) < 4 or len(data) < size:
        return 0, None
    if not _sound(data[:size]):
        return 1, None
    return size, None if length == _ACK else _sample(layout, data[:size])


class _Framed(FramedPart[Sample]):
    layout: ClassVar[Layout]
    period_ms = 2300
    silence_ms = 10_000
    warm_up_ms = 30_000
    paced_by_part = True
    optical_mass = True
    laser_hours = LIFE_HOURS

    def decode(self, data: bytes) -> tuple[int, Sample | None]:
        """Decode by this model's layout."""
        return decode(self.layout, data)

    def sample(self) -> Sample:
        """Wait for the newest frame, normally every 0.2 to 2.3 s; raises NoAnswer, DeviceLost."""
        return self.reader.next(type(self).silence_ms)


class _Pms(_Framed, RestingPart[Sample]):
    def prepare(self) -> None:
        """Have the part send by itself; takes no notice of whether it acknowledges.

        Active first: an awake part hears it; a sleeping one is active once it wakes.
        """
        self.link.send(ACTIVE + WAKE)

    def sleep(self) -> None:
        """Stop fan and laser; raises DeviceLost."""
        self.link.send(SLEEP)

    def wake(self) -> None:
        """Start fan and laser, and have the part send; raises DeviceLost."""
        self.prepare()


class Pms5003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pms5003"
    layout = PLAIN
    quantities = PLAIN.fields


class Pms7003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pms7003"
    layout = PLAIN
    quantities = PLAIN.fields


class Pmsa003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pmsa003"
    layout = PLAIN
    quantities = PLAIN.fields


class Pms5003S(_Pms):
    """Measures particles as pms5003 does, and formaldehyde in µg/m³ (layout from memory)."""

    model = "pms5003s"
    layout = WITH_HCHO
    quantities = WITH_HCHO.fields


class Pms5003T(_Pms):
    """Measures particles up to 2.5 µm by number, temperature in °C and humidity in %RH."""

    model = "pms5003t"
    layout = WITH_CLIMATE
    quantities = WITH_CLIMATE.fields


class Pms5003ST(_Pms):
    """Measures particles, formaldehyde in µg/m³, temperature in °C and humidity in %RH."""

    model = "pms5003st"
    layout = WITH_BOTH
    quantities = WITH_BOTH.fields


class Pms3003(_Framed):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000); takes no commands (from memory)."""

    model = "pms3003"
    layout = SHORT
    quantities = SHORT.fields

    def read(self) -> Sample:
        """Wait for the newest frame; raises NoAnswer, DeviceLost."""
        return self.sample()
