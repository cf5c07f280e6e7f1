"""Looking at I2C buses: every twin, every danger, and every way in which a bus fails."""

import errno
from typing import Any

import pytest

from daemon.finding.benches import AIR, WatchedBus, bus_wiring, quiet
from fakes import FakeClock, nothing, wiring
from ventwright.finding.found import Found
from ventwright.finding.i2c_look import QUESTIONS, READ_ONLY, look_at_bus
from ventwright_drivers import registry
from ventwright_drivers.emulated.ads1115 import Ads1115Twin
from ventwright_drivers.emulated.expanders import Mcp23008Twin, Pcf8574Twin
from ventwright_drivers.emulated.scd4x import Scd40Twin, Scd41Twin
from ventwright_drivers.emulated.sen import Sen54Twin
from ventwright_drivers.emulated.sht import Sht3xTwin, Sht4xTwin
from ventwright_drivers.emulated.sps30_i2c import Sps30I2CTwin
from ventwright_drivers.emulated.twin import I2CTwin, not_acknowledged
from ventwright_drivers.i2c.link import I2CPart

PARTS = {m: part for m, part in registry.parts().items() if issubclass(part, I2CPart)}
TWINS = registry.twins()
ONLY_NARROWED = {"ads1115"}
"""Not told from other converters without writing, so not named in a block."""


class Table:
    """A bus with twins on it, on a fake clock."""

    def __init__(self, *twins: I2CTwin) -> None:
        self.clock = FakeClock()
        self.bus = WatchedBus(self.clock.now)
        for twin in twins:
            self.bus.plug(twin)

    def look(self) -> list[Found]:
        return look_at_bus(1, bus_wiring(self.bus, self.clock), quiet)


@pytest.mark.parametrize("model", sorted(set(PARTS) - ONLY_NARROWED))
def test_every_i2c_part_is_recognised(model: str) -> None:
    twin = TWINS[model](AIR.__getitem__)
    table = Table(twin)
    (found,) = table.look()
    assert model in found.models
    assert found.options == {"bus": 1, "address": twin.address}
    assert found.place == f"/dev/i2c-1 address 0x{twin.address:02X}"
    assert not found.trouble


@pytest.mark.parametrize(
    ("model", "rest"),
    [
        ("scd40", set()),
        ("scd41", set()),
        ("sen54", set()),
        ("sen66", set()),
        ("sen68", set()),
        ("sps30-i2c", set()),
        ("bme680", set()),
        ("bme688", set()),
        ("ens160", set()),
        ("pmsa003i", set()),
        ("sgp40", {"sgp41"}),
        ("sht40", {"sht41", "sht45"}),
        ("sht31", {"sht30", "sht35"}),
    ],
)
def test_what_the_wire_does_not_tell_is_said(model: str, rest: set[str]) -> None:
    (found,) = Table(TWINS[model](AIR.__getitem__)).look()
    assert found.models[0] == model
    assert set(found.models[1:]) == rest


@pytest.mark.parametrize("address", [0x44, 0x45, 0x46])
def test_a_part_at_its_other_address_is_found_there(address: int) -> None:
    (found,) = Table(Sht4xTwin(AIR.__getitem__, address)).look()
    assert found.options["address"] == address
    assert "sht45" in found.models


def test_a_part_that_measures_is_found_and_goes_on_measuring() -> None:
    for twin in (Scd40Twin(AIR.__getitem__), Scd41Twin(AIR.__getitem__)):
        twin.obey(0x21B1, (), 0)
        (found,) = Table(twin).look()
        assert found.models == ("scd41", "scd40")
        assert twin.measuring
    climate = Sht3xTwin(AIR.__getitem__)
    climate.obey(0x2130, (), 0)
    (found,) = Table(climate).look()
    assert "sht35" in found.models
    assert climate._period_ms


def test_no_part_starts_or_stores_anything() -> None:
    for model in sorted(set(PARTS) - ONLY_NARROWED):
        twin = TWINS[model](AIR.__getitem__)
        before = {k: v for k, v in vars(twin).items() if not k.startswith("_")}
        table = Table(twin)
        table.look()
        assert {k: v for k, v in vars(twin).items() if not k.startswith("_")} == before, model
        assert getattr(twin, "started", None) is None
        assert getattr(twin, "persisted", 0) == 0


EXPANDERS = [
    *(lambda a=a: Pcf8574Twin(a) for a in (*range(0x20, 0x28), *range(0x38, 0x40))),
    *(lambda a=a: Mcp23008Twin(a) for a in range(0x20, 0x28)),
]


@pytest.mark.parametrize("make", EXPANDERS)
def test_no_expander_is_ever_written_to_and_no_relay_moves(make: Any) -> None:
    board = make()
    table = Table(board)
    (found,) = table.look()
    assert board.history == []
    assert [data for address, data in table.bus.written if address == board.address] == []
    assert found.models == ()
    assert "perhaps with relays; nothing was written to it" in found.says
    assert not found.trouble


def test_a_full_bus_is_written_to_at_the_known_addresses_only() -> None:
    table = Table(
        *(Pcf8574Twin(a) for a in (*range(0x20, 0x28), *range(0x38, 0x40))),
        *(TWINS[m](AIR.__getitem__) for m in ("pmsa003i", "sht40", "ens160", "sgp41", "scd41")),
        *(TWINS[m](AIR.__getitem__) for m in ("sen55", "sen66", "bme688", "ads1115")),
    )
    found = table.look()
    assert len([one for one in found if one.models]) == 8
    written = {address for address, _ in table.bus.written}
    assert written <= {0x44, 0x45, 0x46, 0x52, 0x53, 0x59, 0x62, 0x69, 0x6B, 0x76, 0x77}
    assert not written & set(READ_ONLY)
    assert 0 not in written  # no general call


def test_the_read_only_addresses_are_those_of_expanders_and_converters() -> None:
    assert set(READ_ONLY) == {*range(0x20, 0x28), *range(0x38, 0x40), *range(0x48, 0x4C)}
    assert not set(READ_ONLY) & set(QUESTIONS)


def test_everything_written_is_a_question_of_the_list() -> None:
    table = Table()
    for address in QUESTIONS:
        table.bus.plug(Deaf(address))
    table.look()
    assert {data.hex() for _, data in table.bus.written} <= {
        *("89", "f32d", "e4b8", "202f", "3682", "d014", "d002", "00", "d0", "f0"),
    }


class Deaf(I2CTwin):
    """Acknowledges every write, and gives nothing."""

    models = ()

    def __init__(self, address: int, reply: bytes = b"") -> None:
        self.address = address
        self.reply = reply

    def write(self, data: bytes, now: int) -> None: ...

    def read(self, size: int, now: int) -> bytes:
        if not self.reply:
            raise not_acknowledged()
        return self.reply * size


def test_a_converter_is_narrowed_down_without_a_write() -> None:
    table = Table(Ads1115Twin(AIR.__getitem__))
    (found,) = table.look()
    assert "perhaps ads1115; nothing was written" in found.says
    assert found.models == ()


def test_another_chip_at_a_known_address_is_unknown() -> None:
    for address in (0x53, 0x76):
        (found,) = Table(Deaf(address, b"\x58")).look()
        assert found.models == ()
        assert "none of our parts" in found.says


class Both(I2CTwin):
    """Two parts at one address that do not hear each other's question."""

    models = ()

    def __init__(self, *twins: I2CTwin) -> None:
        self.twins, self.address = twins, twins[0].address

    def write(self, data: bytes, now: int) -> None:
        heard = 0
        for twin in self.twins:
            try:
                twin.write(data, now)
                heard += 1
            except OSError:
                continue
        if not heard:
            raise not_acknowledged()

    def read(self, size: int, now: int) -> bytes:
        for twin in self.twins:
            try:
                return twin.read(size, now)
            except OSError:
                continue
        raise not_acknowledged()


@pytest.mark.parametrize(
    ("twins", "words"),
    [
        ((Sen54Twin, Sps30I2CTwin), "SPS30 and SEN5x share this address"),
        ((Sht3xTwin, Sht4xTwin), "SHT3x and SHT4x share"),
    ],
)
def test_two_parts_at_one_address_are_told(twins: tuple[Any, Any], words: str) -> None:
    (found,) = Table(Both(*(twin(AIR.__getitem__) for twin in twins))).look()
    assert found.trouble
    assert "two parts at one address" in found.says
    assert words in found.says


@pytest.mark.parametrize("model", ["sht40", "scd40", "sgp40", "sen55", "sen66", "pmsa003i"])
def test_a_wrong_checksum_is_told(model: str) -> None:
    table = Table(TWINS[model](AIR.__getitem__))
    table.bus.garble(lambda data: bytes((data[0] ^ 1,)) + data[1:])
    (found,) = table.look()
    assert found.trouble
    assert "answers in a way that does not check" in found.says


def test_an_empty_bus_holds_nothing() -> None:
    assert Table().look() == []


def test_no_bus_says_how_to_get_one() -> None:
    (found,) = look_at_bus(7, wiring(FakeClock(), open_bus=nothing), quiet)
    assert found.place == "/dev/i2c-7"
    assert "switch the bus on" in found.says
    assert found.trouble


@pytest.mark.parametrize(
    ("number", "words", "trouble"),
    [
        (errno.EACCES, "sudo usermod -aG i2c $USER", True),
        (errno.EOPNOTSUPP, "a bus of a mainboard or screen", False),
        (errno.EBUSY, "is in use by another program", True),
        (errno.EMFILE, "does not work: ", True),
    ],
)
def test_a_bus_that_does_not_open_or_transfer_says_why(
    number: int, words: str, trouble: bool
) -> None:
    table = Table()
    table.bus.fail(number)
    (found,) = table.look()
    assert words in found.says
    assert found.trouble is trouble
    assert sum(table.bus.calls.values()) == 1  # once is enough


def test_an_adapter_that_says_eio_for_nobody_there_still_finds_the_part() -> None:
    table = Table(Sht4xTwin(AIR.__getitem__))
    for address in {*QUESTIONS, *READ_ONLY} - {0x44}:
        table.bus.fail(errno.EIO, address)
    (found,) = table.look()
    assert "sht40" in found.models
    table.bus.fail(errno.EIO)
    (found,) = table.look()
    assert found.trouble


def test_a_bus_lost_midway_keeps_what_was_found() -> None:
    table = Table(Sht4xTwin(AIR.__getitem__))
    table.bus.fail(errno.ENODEV, 0x62)
    part, bus = table.look()
    assert "sht40" in part.models
    assert bus.trouble


def test_the_bus_is_closed_afterwards() -> None:
    table = Table()
    closed = []
    table.bus.close = lambda: closed.append(1)  # type: ignore[method-assign]
    opened = []

    def opening(number: int) -> Any:
        opened.append(number)
        return table.bus

    look_at_bus(1, wiring(table.clock, open_bus=opening), quiet)
    assert len(opened) == len(closed) > 0
