"""Looks at one I2C bus, address by address, and never writes where a relay could be.

At 20 to 27 and 38 to 3F every write switches outputs of a PCF8574, and a register of an MCP23008:
there is one bare read, which changes neither. To a 48-4B a write could set another converter's
output, so it is read only as well. Elsewhere the standard question of the part at home there is
put, which stores nothing: a serial number, a name, a status or a chip number. No general call.
Source: protocols.md sections 2, 5 and 12 to 22.
"""

import errno
from collections.abc import Callable, Mapping

from ventwright.finding.found import Found, Models, naming, refused
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.i2c.link import I2CLink
from ventwright_drivers.i2c.words import UNIT, command, unpack
from ventwright_drivers.part import Wiring
from ventwright_drivers.serial import pms

Tell = Callable[[str], None]

_SHT3X: Models = ("sht31", "sht30", "sht35")
_SHT4X: Models = ("sht40", "sht41", "sht45")
_SCD: dict[int, Models] = {0: ("scd40",), 1: ("scd41",)}
_BME: dict[int, Models] = {0: ("bme680",), 1: ("bme688",)}


class Garbled(Exception):
    """Something answers with a wrong checksum, or as two parts at once."""


class Spot:
    """One address of a bus."""

    def __init__(self, link: I2CLink) -> None:
        """Look through an open link."""
        self._link = link
        self.address = link.address

    def read(self, size: int) -> bytes:
        """Read without writing; b"" if nothing acknowledges. Raises DeviceLost."""
        try:
            return self._link.read(size)
        except NoAnswer:
            return b""

    def ask(self, data: bytes, size: int, wait_ms: int = 5) -> bytes:
        """Write, wait, read; b"" if either is not acknowledged. Raises DeviceLost."""
        try:
            self._link.write(data)
        except NoAnswer:
            return b""
        clock = self._link.clock
        clock.sleep_until(clock.now() + wait_ms)
        return self.read(size)

    def words(self, data: bytes, count: int, wait_ms: int = 5) -> tuple[int, ...]:
        """Ask for words; () if nothing answers. Raises Garbled, DeviceLost."""
        reply = self.ask(data, count * UNIT, wait_ms)
        if not reply:
            return ()
        try:
            return unpack(reply, self.address)
        except NoAnswer as error:
            raise Garbled from error

    def text(self, code: int, count: int) -> str:
        """Ask for a text of words; "" if nothing answers. Raises Garbled, DeviceLost."""
        raw = b"".join(word.to_bytes(2, "big") for word in self.words(command(code), count, 20))
        return raw.partition(b"\0")[0].decode("ascii", "replace")


def _counter(spot: Spot) -> Models:
    frame = spot.read(32)
    if not frame:
        return ()
    if pms.decode(pms.PLAIN, frame)[1] is None:
        raise Garbled
    return ("pmsa003i",)


def _climate(spot: Spot) -> Models:
    """Ask for the newer kind's serial number, a single byte that the older one does not know."""
    newer = spot.words(b"\x89", 2)
    older = spot.words(command(0xF32D), 1)
    if newer and older:
        raise Garbled
    if newer:
        return _SHT4X
    return _SHT3X if older else ()


def _co2(spot: Spot) -> Models:
    """Ask whether data is ready, allowed at any time; the variant is told only while idle."""
    if not spot.words(command(0xE4B8), 1):
        return ()
    variant = spot.words(command(0x202F), 1)
    return _SCD.get(variant[0] >> 12, ()) if variant else ("scd41", "scd40")


def _raw_gas(spot: Spot) -> Models:
    return ("sgp40", "sgp41") if spot.words(command(0x3682), 3) else ()


def _by_name(spot: Spot) -> Models:
    """Ask for the name that SEN parts have, then for the type that SPS30 has."""
    named = _name_only(spot)
    typed = spot.text(0xD002, 4) == "00080000"
    if named and typed:
        raise Garbled
    return ("sps30-i2c",) if typed else named


def _name_only(spot: Spot) -> Models:
    name = spot.text(0xD014, 16).lower()
    return (name,) if name.startswith("sen") else ()


def _indoor_air(spot: Spot) -> Models:
    return ("ens160",) if spot.ask(b"\x00", 2) == b"\x60\x01" else ()


def _environment(spot: Spot) -> Models:
    if spot.ask(b"\xd0", 1) != b"\x61":
        return ()
    variant = spot.ask(b"\xf0", 1)
    return _BME.get(variant[0], ()) if variant else ()


QUESTIONS: Mapping[int, Callable[[Spot], Models]] = {
    0x12: _counter,
    **dict.fromkeys((0x44, 0x45, 0x46), _climate),
    **dict.fromkeys((0x52, 0x53), _indoor_air),
    0x59: _raw_gas,
    0x62: _co2,
    0x69: _by_name,
    0x6B: _name_only,
    **dict.fromkeys((0x76, 0x77), _environment),
}
"""The addresses that are spoken to."""

READ_ONLY: Mapping[int, str] = {
    **dict.fromkeys(range(0x20, 0x28), "an expander, pcf8574 or mcp23008, perhaps with relays"),
    **dict.fromkeys(range(0x38, 0x40), "an expander, pcf8574, perhaps with relays"),
    **dict.fromkeys(range(0x48, 0x4C), "a converter, perhaps ads1115"),
}
"""The addresses at which nothing is ever written, and what can be there."""

_SHARED = {
    0x69: "SPS30 and SEN5x share this address and cannot share a bus",
    **dict.fromkeys((0x44, 0x45, 0x46), "SHT3x and SHT4x share these addresses"),
}
_GARBLED = (
    "answers in a way that does not check: two parts at one address, too long a cable, weak "
    "pull-ups, or another program on the bus"
)


class _Bus:
    def __init__(self, number: int, wiring: Wiring) -> None:
        self.number = number
        self.path = f"/dev/i2c-{number}"
        self._wiring = wiring

    def look(self, address: int) -> Found | None:
        """Look at one address; None if nothing is there. Raises DeviceLost."""
        place = f"{self.path} address 0x{address:02X}"
        link = I2CLink(self._wiring, self.number, address)
        try:
            return self._looked(Spot(link), place)
        except Garbled:
            shared = _SHARED.get(address)
            return Found(place, f"{_GARBLED} ({shared})" if shared else _GARBLED, trouble=True)
        finally:
            link.close()

    def _looked(self, spot: Spot, place: str) -> Found | None:
        if spot.address in READ_ONLY:
            there = spot.read(1)
            says = f"has something: {READ_ONLY[spot.address]}; nothing was written to it"
            options = {"bus": self.number, "address": spot.address}
            return Found(place, says, options=options) if there else None
        if models := QUESTIONS[spot.address](spot):
            return self._named(place, models, spot.address)
        unknown = "has something that none of our parts is"
        return Found(place, unknown) if spot.read(1) else None

    def _named(self, place: str, models: Models, address: int) -> Found:
        options = {"bus": self.number, "address": address}
        return Found(place, naming(models), models, options)


def look_at_address(number: int, address: int, wiring: Wiring) -> Found | None:
    """Find out what is at one address, None if nothing is or nobody may ask; raises DeviceLost."""
    asked = address in QUESTIONS or address in READ_ONLY
    return _Bus(number, wiring).look(address) if asked else None


def look_at_bus(number: int, wiring: Wiring, tell: Tell) -> list[Found]:
    """Find out what is on a bus; never raises a driver's error."""
    bus = _Bus(number, wiring)
    addresses = sorted((*QUESTIONS, *READ_ONLY))
    found: list[Found] = []
    failures: list[DeviceLost] = []
    for address in addresses:
        tell(f"asking on {bus.path} at 0x{address:02X}")
        try:
            found += filter(None, [bus.look(address)])
        except DeviceLost as error:
            failures.append(error)
            if _hopeless(error):
                break
    if failures and (_hopeless(failures[-1]) or len(failures) == len(addresses)):
        found.append(_failed(bus.path, failures[-1]))
    return found


def _cause(error: DeviceLost) -> OSError:
    return error.__cause__ if isinstance(error.__cause__, OSError) else error


def _hopeless(error: DeviceLost) -> bool:
    """Tell whether the bus itself failed; EIO alone is some adapters' word for "nobody there"."""
    return _cause(error).errno != errno.EIO


def _failed(path: str, error: DeviceLost) -> Found:
    cause = _cause(error)
    harmless = cause.errno == errno.EOPNOTSUPP
    return Found(path, refused(path, "i2c", cause), trouble=not harmless)
