"""What is said where another part is on the wire than the configuration names, or nowhere."""

import sys
from types import SimpleNamespace
from typing import Any

import pytest

import rooms
from daemon.finding.benches import AIR, SPEEDS, WatchedBus
from daemon.finding.benches import Silence as Nobody
from fakes import FakeClock, TwinPort, wiring
from ventwright.commands.probing import findings
from ventwright.finding.i2c_look import READ_ONLY
from ventwright.settings.model import PartEntry, RelayEntry
from ventwright_drivers import registry
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.emulated.twin import I2CTwin, SerialTwin
from ventwright_drivers.serial.pms import Pms3003

PORT = "/dev/desk"
TWINS = registry.twins()


def configured(model: str, **options: Any) -> PartEntry:
    driver = registry.parts()[model]
    made = driver.Options(**options)
    return PartEntry(model, registry.where(driver), made, driver.quantities_of(made))


class Shop:
    """What is really there: twins at one port or on one bus."""

    def __init__(self, *twins: SerialTwin | I2CTwin, baud: int = 9600) -> None:
        self.clock = FakeClock(5000)
        self.bus = WatchedBus(self.clock.now)
        self.port: SerialTwin = Nobody()
        self.baud = baud
        for twin in twins:
            if isinstance(twin, I2CTwin):
                self.bus.plug(twin)
            else:
                self.port = twin

    def _open(self, _path: str, baud: int, *_: Any) -> Any:
        return TwinPort(self.clock, self.port if baud == self.baud else Nobody())

    def check(self, parts: dict[str, PartEntry], **relays: RelayEntry) -> dict[str, str]:
        settings = rooms.room(relays=relays)
        settings.parts.clear()
        settings.parts.update(parts)
        wires = wiring(self.clock, open_port=self._open, open_bus=lambda _: self.bus)
        found = list(findings(settings, wires, switch=False))
        assert not any("Traceback" in one["says"] or "\n" in one["says"] for one in found)
        return {
            one.get("part") or one["relay"]: "" if one["well"] else one["says"] for one in found
        }

    def says(self, model: str, **options: Any) -> str:
        return self.check({"one": configured(model, **options)})["one"]


def real(model: str) -> Any:
    return TWINS[model](AIR.__getitem__)


WRITE = '{} has a {}, not the {} of [parts.one]: write model = "{}" there'


@pytest.mark.parametrize(
    ("wanted", "there"),
    [
        ("pms5003", "pms5003t"),
        ("pms5003", "pms3003"),
        ("pms5003", "pms5003st"),
        ("pms5003st", "pms5003t"),
        ("pms5003", "sds011"),
        ("pms5003", "sps30"),
        ("sds011", "pms3003"),
        ("sds011", "sps30"),
        ("mh-z19b", "ze07-co"),
        ("mh-z19c", "ze08-ch2o"),
        ("ze08-ch2o", "wz-s"),
        ("wz-s", "ze08-ch2o"),
        ("ze08-ch2o", "ze07-co"),
        ("hpma115s0", "hpma115c0"),
        ("hpma115c0", "hpma115s0"),
        ("sps30", "sds011"),
    ],
)
def test_another_serial_part_is_named_and_what_to_write(wanted: str, there: str) -> None:
    shop = Shop(real(there), baud=SPEEDS.get(there, 9600))
    assert shop.says(wanted, port=PORT) == WRITE.format(PORT, there, wanted, there)


@pytest.mark.parametrize(
    ("wanted", "there", "either"),
    [
        ("sds011", "pms5003", "pms5003, pms7003 or pmsa003"),
        ("pms5003t", "pms5003", "pms5003, pms7003 or pmsa003"),
        ("pms5003s", "pms7003", "pms5003, pms7003 or pmsa003"),
        ("ze07-co", "mh-z19b", "mh-z19b or mh-z19c"),
    ],
)
def test_what_the_wire_leaves_open_is_said(wanted: str, there: str, either: str) -> None:
    assert Shop(real(there)).says(wanted, port=PORT) == (
        f"{PORT} has a {either}, not the {wanted} of [parts.one]: "
        "write as model there what is printed on it"
    )


def test_a_part_of_others_may_speak_like_one_of_ours() -> None:
    class Cousin(Pms3003):
        """Somebody else's part, with the frames of a pms3003."""

        model = "cousin"
        __module__ = "cousins.parts"

    settings = rooms.room(relays={})
    settings.parts.clear()
    driver = f"{Cousin.__module__}:Cousin"
    settings.parts["one"] = PartEntry("cousin", driver, Cousin.Options(PORT), Cousin.quantities)
    with pytest.MonkeyPatch.context() as patched:
        patched.setitem(sys.modules, "cousins.parts", SimpleNamespace(Cousin=Cousin))
        shop = Shop(real("pms3003"))
        wires = wiring(shop.clock, open_port=shop._open)
        (found,) = findings(settings, wires, switch=False)
    assert found["says"] == "it answers"


def test_a_silent_port_says_what_may_be_the_matter() -> None:
    said = Shop().says("pms5003", port=PORT)
    assert said.startswith(f"{PORT} is silent: nothing is there, it has no power, RX and TX are")


def relay(model: str, *options: Any) -> RelayEntry:
    driver = registry.relays()[model]
    return RelayEntry(model, registry.where(driver), driver.Options(*options), "off", 1000)


def test_exchanged_ports_are_said_of_part_and_relay() -> None:
    assert Shop(ModbusTwin()).says("pms5003", port=PORT) == (
        f"{PORT} has a relay-modbus, not the pms5003 of [parts.one]: have two ports been exchanged?"
    )
    for model in ("relay-a0", "relay-modbus"):
        said = Shop(real("pms3003")).check({}, fan=relay(model, PORT))["fan"]
        assert said == (
            f"{PORT} has a pms3003, not the {model} of [relays.fan]: have two ports been exchanged?"
        )


def test_a_board_that_never_answers_is_well_and_was_sent_nothing() -> None:
    board = A0Twin()
    assert Shop(board).check({}, fan=relay("relay-a0", PORT)) == {"fan": ""}
    assert board.history == []


@pytest.mark.parametrize("model", sorted({*registry.parts()} - {"ads1115", "tacho-gpio"}))
def test_the_right_part_is_never_called_another(model: str) -> None:
    twin = real(model)
    shop = Shop(twin, baud=SPEEDS.get(model, 9600))
    assert shop.says(model, **({"port": PORT} if isinstance(twin, SerialTwin) else {})) == ""


WRITE_AT = "/dev/i2c-1 address 0x{:02X} has a {}, not the {} of [parts.one]: write "


@pytest.mark.parametrize(
    ("wanted", "there", "says"),
    [
        ("sht40", "sht31", "sht31, sht30 or sht35"),
        ("sht31", "sht45", "sht40, sht41 or sht45"),
        ("bme680", "bme688", "bme688"),
        ("bme688", "bme680", "bme680"),
        ("sen54", "sen55", "sen55"),
        ("sen55", "sen54", "sen54"),
        ("sps30-i2c", "sen55", "sen55"),
        ("sen66", "sen68", "sen68"),
    ],
)
def test_another_part_at_the_address_is_named(wanted: str, there: str, says: str) -> None:
    twin = real(there)
    said = Shop(twin).says(wanted)
    start = WRITE_AT.format(twin.address, says, wanted)
    one = f'model = "{says}" there'
    assert said == start + (one if " or " not in says else "as model there what is printed on it")


def test_a_part_that_cannot_do_what_its_sister_can() -> None:
    assert Shop(real("sgp40")).says("sgp41") == (
        "/dev/i2c-1 address 0x59 has a sgp40 or sgp41, but does not do what a sgp41 is told: "
        "if it is a sgp40, write that as model under [parts.one]"
    )


@pytest.mark.parametrize(
    ("wanted", "there", "address", "at"),
    [
        ("sht40", "sht40", 0x45, 0x44),
        ("bme688", "bme688", 0x77, 0x76),
        ("ens160", "ens160", 82, 83),
    ],
)
def test_a_part_at_another_address_is_found_there(
    wanted: str, there: str, address: int, at: int
) -> None:
    twin = real(there)
    said = Shop(twin).says(wanted, address=address)
    assert said.startswith(
        f"nothing answers at address 0x{address:02X} of bus 1, but at 0x{at:02X} "
    )
    assert said.endswith(f": write address = 0x{at:02X} under [parts.one]")


def test_an_expander_at_another_address_is_found_and_nothing_is_written_to_it() -> None:
    shop = Shop(TWINS["relay-pcf8574"]())
    said = shop.check({}, fan=relay("relay-pcf8574", 1, 0x21))["fan"]
    assert said == (
        "nothing answers at address 0x21 of bus 1, but at 0x20 is something that may be it: "
        "write address = 0x20 under [relays.fan]"
    )
    assert all(address not in READ_ONLY for address, _ in shop.bus.written)


def test_what_else_answers_is_told_but_not_what_is_configured() -> None:
    parts = {"one": configured("scd41"), "climate": configured("sht40")}
    alone = Shop(real("sht40"))
    assert alone.check(parts)["one"] == (
        "nothing answers at address 0x62 of bus 1, though other parts of that bus answer: "
        "look at this one's plug and power"
    )
    more = Shop(real("sht40"), real("sen55"))
    assert more.check(parts)["one"] == (
        "nothing answers at address 0x62 of bus 1; what does answer there and is not configured: "
        "0x69 is a sen55"
    )
    assert Shop().check(parts)["one"] == (
        "nothing answers at address 0x62 of bus 1, nor anything else: "
        "look at its power, SDA and SCL"
    )
