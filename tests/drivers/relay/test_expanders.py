"""Relays behind PCF8574 and MCP23008 on boards that record every contact that moves.

Bytes are those of protocols.md sections 21 and 22.
"""

import errno
import threading

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.expanders import Mcp23008Twin, Pcf8574Twin
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.relay.mcp23008 import Mcp23008Relay
from ventwright_drivers.relay.pcf8574 import Pcf8574Relay

KINDS = [(Pcf8574Relay, Pcf8574Twin), (Mcp23008Relay, Mcp23008Twin)]


class Rig:
    def __init__(self, driver, twin, **options):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.board = twin(**options)
        self.bus.plug(self.board)
        self.driver = driver
        self.written = []
        self.wires = self.process()
        write = self.board.write
        self.board.write = lambda data, now: (self.written.append(data.hex(" ")), write(data, now))

    def process(self):
        """Wire as a process of its own does, which knows nothing of earlier ones."""
        return wiring(self.clock, open_bus=lambda _: self.bus)

    def relay(self, channel, wires=None, **options):
        options = self.driver.Options(channel=channel, **options)
        return self.driver(options, wires or self.wires)


@pytest.fixture(params=KINDS, ids=["pcf8574", "mcp23008"])
def rig(request):
    return Rig(*request.param)


def test_pcf8574_bytes():
    rig = Rig(*KINDS[0])
    with rig.relay(1) as first, rig.relay(3) as third:
        assert rig.written == []
        first.switch(False)
        first.switch(True)
        third.switch(True)
        first.switch(False)
    assert rig.written == ["ff", "fe", "fa", "fb"]


def test_mcp23008_bytes():
    rig = Rig(*KINDS[1])
    with rig.relay(1) as first:
        rig.written.clear()
        first.switch(False)
        first.switch(True)
        first.state()
    look = ["00", "00", "0a", "0a"]  # without a checksum each is read twice
    assert rig.written == [*look, "0a 01", "00 fe", *look, "0a 00", *look]


@pytest.mark.parametrize("active_low", [True, False])
def test_the_first_command_to_an_mcp23008_never_pulses(active_low):
    rig = Rig(*KINDS[1], active_low=active_low)
    with rig.relay(4, active_low=active_low) as relay:
        relay.switch(False)
        assert rig.board.history == []
        relay.switch(True)
        assert relay.state() is True
    assert rig.board.history == [(0, 4, True)]


def test_starting_reading_and_closing_command_nothing(rig):
    with rig.relay(2) as first:
        first.switch(True)
    rig.board.history.clear()
    again = rig.relay(2)
    again.start()
    again.start()
    assert again.state() is True
    again.close()
    assert rig.board.history == []


def test_relays_of_a_board_never_move_each_other(rig):
    relays = [rig.relay(channel) for channel in range(1, 9)]
    for relay in relays:
        relay.start()
    for step, n in enumerate([0, 3, 7, 3, 1, 0, 2]):
        before = list(rig.board.contacts)
        relays[n].switch(not before[n])
        before[n] = not before[n]
        assert rig.board.contacts == before, step
        assert [relay.state() for relay in relays] == before
    for relay in relays:
        relay.close()


def test_what_is_commanded_outlives_a_lost_bus(rig):
    first, second = rig.relay(1), rig.relay(2)
    for relay in (first, second):
        relay.start()
        relay.switch(True)
    rig.bus.fail(errno.EIO)
    for relay in (first, second):
        with pytest.raises(DeviceLost):
            relay.switch(True)
        relay.close()
    rig.bus.heal()
    rig.board.history.clear()
    first.start()
    first.switch(True)
    assert rig.board.history == []
    first.close()


def test_what_another_process_left_closed_stays_so(rig):
    with rig.relay(1, rig.process()) as before:
        before.switch(True)
    with rig.relay(2) as relay:
        relay.switch(True)
        relay.switch(False)
    assert rig.board.history == [(0, 1, True), (0, 2, True), (0, 2, False)]


def test_safe_states_move_only_the_contacts_that_are_not_yet_safe(rig):
    before = rig.process()
    for channel in (1, 2):
        with rig.relay(channel, before) as relay:
            relay.switch(True)
    rig.board.history.clear()
    for channel, on in ((1, False), (2, True)):  # as keeper/safe.py does, in a process of its own
        with rig.relay(channel) as relay:
            relay.switch(on)
    assert rig.board.history == [(0, 1, False)]


def test_the_pins_of_a_pcf8574_are_believed_before_the_first_command_and_never_later():
    rig = Rig(*KINDS[0])
    rig.board.held_low = 0b1000
    with rig.relay(1) as relay:
        relay.switch(True)
        assert rig.board.latch == 0xF6
        rig.board.held_low = 0b10000
        relay.switch(False)
        assert rig.board.latch == 0xF7
        with rig.relay(5) as other:
            assert other.state() is True  # the pin is low, whoever pulls it


def spoil(rig, masks):
    """Flip bits in the reads to come, one mask a read, until none is left."""
    read = rig.board.read

    def damaged(size, now):
        data = read(size, now)
        return bytes((data[0] ^ masks.pop(0),)) if masks else data

    rig.board.read = damaged


@pytest.mark.parametrize("at", range(6))
def test_a_bit_that_falls_over_moves_no_other_contact(rig, at):
    with rig.relay(1) as first, rig.relay(2) as second:
        second.switch(True)
        rig.board.history.clear()
        for bit in range(8):
            spoil(rig, [0] * at + [1 << bit])
            first.switch(not bit % 2)
    moved = [channel for _, channel, _ in rig.board.history]
    assert moved == [1] * 8


def test_an_mcp23008_that_never_says_the_same_twice_is_no_answer_and_nothing_is_written():
    rig = Rig(*KINDS[1])
    with rig.relay(1) as relay:
        spoil(rig, [0, 1, 2, 4])
        with pytest.raises(NoAnswer, match="says something else each time: look at its cable"):
            relay.switch(True)
        assert rig.board.history == []
        relay.switch(True)
    assert rig.board.history == [(0, 1, True)]


def test_a_pin_that_reads_low_only_once_is_not_taken_for_low():
    rig = Rig(*KINDS[0])
    read, damage = rig.board.read, [0x7F, 0xFF]
    with rig.relay(1) as relay:
        rig.board.read = lambda size, now: bytes((read(size, now)[0] & damage.pop(),))
        relay.switch(True)
    assert damage == []
    assert rig.board.history == [(0, 1, True)]


def test_a_board_that_lost_power_reads_back_open_and_is_set_up_again(rig):
    with rig.relay(1) as first, rig.relay(2) as second:
        first.switch(True)
        second.switch(True)
        rig.board.power_up(5)
        assert first.state() is False
        rig.board.history.clear()
        first.switch(True)
        second.switch(True)
        assert (first.state(), second.state()) == (True, True)
        assert [(channel, on) for _, channel, on in rig.board.history] == [(1, True), (2, True)]


def test_two_boards_on_a_bus_are_apart(rig):
    second = type(rig.board)(address=0x21)
    rig.bus.plug(second)
    with rig.relay(1) as one, rig.relay(1, address=0x21) as other:
        one.switch(True)
        other.switch(False)
    assert rig.board.contacts[0]
    assert second.history == []


def test_a_board_that_is_not_there_does_not_answer(rig):
    rig.bus.unplug(0x20)
    with pytest.raises(NoAnswer, match="nothing answers at I2C address 0x20 on bus 1"):
        rig.relay(1).start()
    relay = rig.relay(1)
    relay.close()
    for use in (relay.state, lambda: relay.switch(True)):
        with pytest.raises(DeviceLost, match="/dev/i2c-1 is not open"):
            use()


def test_many_threads_lose_no_command(rig):
    relays = [rig.relay(channel) for channel in range(1, 9)]

    def play(relay):
        with relay:
            for _ in range(50):
                relay.switch(False)
                relay.switch(True)

    threads = [threading.Thread(target=play, args=[relay]) for relay in relays]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert rig.board.contacts == [True] * 8
    for channel in range(1, 9):
        moves = [on for _, moved, on in rig.board.history if moved == channel]
        assert moves == [True, False] * 49 + [True]


def test_the_mcp23008_twin_is_the_register_file_of_the_datasheet():
    rig = Rig(*KINDS[1])
    bus = rig.bus
    bus.write(0x20, b"\x00")
    assert bus.read(0x20, 11) == b"\xff" + bytes(8) + b"\xff\x00"
    bus.write(0x20, b"\x00\x00")  # the wrong order: every relay closes
    assert rig.board.contacts == [True] * 8
    bus.write(0x20, b"\x09\xff")
    assert rig.board.contacts == [False] * 8
    bus.write(0x20, b"\x01\x0f")
    bus.write(0x20, b"\x09")
    assert bus.read(0x20, 2) == b"\xf0\xff"
    bus.write(0x20, b"\x20\x55")
    bus.write(0x20, b"\x20")
    assert bus.read(0x20, 1) == b"\0"
