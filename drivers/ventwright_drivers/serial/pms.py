"""The laser particle counters that send 42 4D frames: one decoder, and a table of layouts.

Parts with a length of 28 cannot be told apart on the wire, so the configured model decides.
Source: protocols.md section 2, confirmed there except where a line here says "from memory".
"""

from typing import ClassVar, NamedTuple

from ventwright_drivers.checksums import sum16
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.link import FramedPart

ACTIVE = bytes.fromhex("42 4D E1 00 01 01 71")
"""Makes an awake part send by itself."""

WAKE = bytes.fromhex("42 4D E4 00 01 01 74")
"""Wakes a sleeping part, which then sends by itself; never acknowledged."""

_HEADER = b"\x42\x4d"
_ACK = 4  # the length field of a reply to a command


class Field(NamedTuple):
    """Where a value is in the frame, and how many of its counts make one canonical unit."""

    offset: int
    per_unit: int = 1
    signed: bool = False


class Layout(NamedTuple):
    """One row of the table: the length field, the fields, and the offset of the error byte."""

    length: int
    fields: dict[str, Field]
    error_at: int | None


_MASS = {"pm1": Field(10), "pm2_5": Field(12), "pm10": Field(14)}  # "atmospheric", µg/m³
_SMALL = {  # 1/0.1 L on the wire, 1/cm³ here
    "n0_3": Field(16, 100),
    "n0_5": Field(18, 100),
    "n1": Field(20, 100),
    "n2_5": Field(22, 100),
}
_COUNTS = {**_SMALL, "n5": Field(24, 100), "n10": Field(26, 100)}
_HCHO = {"hcho": Field(28)}  # 1/1000 mg/m³ on the wire, µg/m³ here


def _climate(offset: int) -> dict[str, Field]:
    return {"temperature": Field(offset, 10, signed=True), "humidity": Field(offset + 2, 10)}


PLAIN = Layout(28, {**_MASS, **_COUNTS}, 29)
WITH_HCHO = Layout(28, {**_MASS, **_COUNTS, **_HCHO}, None)  # from memory
WITH_CLIMATE = Layout(28, {**_MASS, **_SMALL, **_climate(24)}, 29)
WITH_BOTH = Layout(36, {**_MASS, **_COUNTS, **_HCHO, **_climate(30)}, 37)
SHORT = Layout(20, dict(_MASS), None)


def _value(frame: bytes, field: Field) -> float:
    raw = frame[field.offset : field.offset + 2]
    return int.from_bytes(raw, "big", signed=field.signed) / field.per_unit


def _believed(layout: Layout, frame: bytes) -> tuple[float | None, ...]:
    values = {name: _value(frame, field) for name, field in layout.fields.items()}
    counts = [values[name] for name in _COUNTS if name in values]
    if counts == sorted(counts, reverse=True):
        return tuple(values.values())
    return tuple(None if name in _COUNTS else value for name, value in values.items())


def _sample(layout: Layout, frame: bytes) -> Sample:
    error = 0 if layout.error_at is None else frame[layout.error_at]
    return Sample(_believed(layout, frame), f"error byte {error:02X}" if error else "")


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
    if sum16(data[: size - 2]) != int.from_bytes(data[size - 2 : size], "big"):
        return 1, None
    return size, None if length == _ACK else _sample(layout, data[:size])


class _Pms(FramedPart[Sample]):
    layout: ClassVar[Layout]
    period_ms = 2300
    silence_ms = 10_000
    warm_up_ms = 30_000
    paced_by_part = True
    optical_mass = True
    greeting: ClassVar[bytes] = ACTIVE + WAKE
    """Active first: an awake part hears it; a sleeping one is active once it wakes."""

    def decode(self, data: bytes) -> tuple[int, Sample | None]:
        """Decode by this model's layout."""
        return decode(self.layout, data)

    def prepare(self) -> None:
        """Have the part send by itself; takes no notice of whether it acknowledges."""
        if self.greeting:
            self.link.send(self.greeting)

    def read(self) -> Sample:
        """Wait for the newest frame, normally every 0.2 to 2.3 s; raises NoAnswer, DeviceLost."""
        return self.reader.next(self.silence_ms)


class Pms5003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pms5003"
    layout = PLAIN
    quantities = tuple(PLAIN.fields)


class Pms7003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pms7003"
    layout = PLAIN
    quantities = tuple(PLAIN.fields)


class Pmsa003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pmsa003"
    layout = PLAIN
    quantities = tuple(PLAIN.fields)


class Pms5003S(_Pms):
    """Measures particles as pms5003 does, and formaldehyde in µg/m³ (layout from memory)."""

    model = "pms5003s"
    layout = WITH_HCHO
    quantities = tuple(WITH_HCHO.fields)


class Pms5003T(_Pms):
    """Measures particles up to 2.5 µm by number, temperature in °C and humidity in %RH."""

    model = "pms5003t"
    layout = WITH_CLIMATE
    quantities = tuple(WITH_CLIMATE.fields)


class Pms5003ST(_Pms):
    """Measures particles, formaldehyde in µg/m³, temperature in °C and humidity in %RH."""

    model = "pms5003st"
    layout = WITH_BOTH
    quantities = tuple(WITH_BOTH.fields)


class Pms3003(_Pms):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000); takes no commands (from memory)."""

    model = "pms3003"
    layout = SHORT
    quantities = tuple(SHORT.fields)
    greeting = b""
