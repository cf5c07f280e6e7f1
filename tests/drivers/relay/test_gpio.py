"""The GPIO relay on an emulated chip that records every level; protocols.md section 23."""

import errno

import gpiod
import pytest
from gpiod import LineSettings
from gpiod.line import Direction, Value

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.gpio_chip import Change, EmulatedChip
from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.relay import gpio
from ventwright_drivers.relay.gpio import GpioRelay

LINE = 17


@pytest.fixture
def clock():
    return FakeClock()


@pytest.fixture
def chip(clock):
    return EmulatedChip(clock.now)


def relay_on(board, clock, **options):
    options = GpioRelay.Options(**{"line": LINE, **options})
    return GpioRelay(options, wiring(clock, request_lines=board.request_lines))


@pytest.mark.parametrize("active_low", [True, False])
def test_neither_building_nor_starting_nor_reading_pulses(clock, active_low):
    chip = EmulatedChip(clock.now, board_active_low=active_low)
    relay = relay_on(chip, clock, active_low=active_low)
    relay.start()
    relay.start()
    assert relay.state() is False
    relay.close()
    assert chip.history == []


@pytest.mark.parametrize("active_low", [True, False])
def test_one_level_change_a_switching(clock, active_low):
    chip = EmulatedChip(clock.now, board_active_low=active_low)
    with relay_on(chip, clock, active_low=active_low) as relay:
        for at, on in [(10, True), (20, True), (30, False), (40, False), (50, True)]:
            clock.time = at
            relay.switch(on)
            assert relay.state() is on
            assert chip.contacts[LINE] is on
    closed, opened = not active_low, active_low
    expected = [Change(10, LINE, closed), Change(30, LINE, opened), Change(50, LINE, closed)]
    assert chip.history[:3] == expected


def test_a_contact_left_closed_is_opened_by_the_start_and_by_it_alone(clock):
    chip = EmulatedChip(clock.now, keeps_level=True)
    with relay_on(chip, clock) as relay:
        relay.switch(True)
    assert chip.contacts[LINE]
    chip.history.clear()
    relay.start()
    assert chip.history == [Change(0, LINE, True)]


def test_starting_twice_leaves_the_contact_alone(chip, clock):
    with relay_on(chip, clock) as relay:
        relay.switch(True)
        relay.start()
        assert relay.state() is True
        assert len(chip.history) == 1


def test_a_pull_that_closes_the_contact_is_seen_and_ended(clock):
    chip = EmulatedChip(clock.now, pulls={LINE: False})
    assert chip.contacts[LINE]
    with relay_on(chip, clock):
        assert not chip.contacts[LINE]
    assert chip.contacts[LINE]


def test_a_line_in_use_is_lost_and_the_user_named(chip, clock):
    chip.request_lines(chip.path, consumer="fan-script", config={(3, LINE): None})
    with pytest.raises(DeviceLost, match=f"line {LINE} of /dev/gpiochip0: in use by fan-script"):
        relay_on(chip, clock).start()


def test_a_line_of_ours_is_taken_once_and_free_after_closing(chip, clock):
    first, second = relay_on(chip, clock), relay_on(chip, clock)
    first.start()
    with pytest.raises(DeviceLost, match="in use by ventwright"):
        second.start()
    first.close()
    first.close()
    second.start()


@pytest.mark.parametrize(
    ("options", "reason"), [({"chip": "/dev/gpiochip9"}, "No such file"), ({"line": 32}, "Invalid")]
)
def test_a_chip_or_line_that_is_not_there_is_lost(chip, clock, options, reason):
    with pytest.raises(DeviceLost, match=reason):
        relay_on(chip, clock, **options).start()


def test_an_unplugged_chip_is_lost_until_it_is_back_and_reopened(chip, clock):
    relay = relay_on(chip, clock)
    relay.start()
    relay.switch(True)
    chip.unplug()
    assert not chip.contacts[LINE]
    for use in (relay.state, lambda: relay.switch(True)):
        with pytest.raises(DeviceLost, match="No such device"):
            use()
    chip.plug()
    with pytest.raises(DeviceLost):
        relay.state()
    relay.close()
    relay.start()
    relay.switch(True)
    assert relay.state() is True


def test_a_relay_that_is_not_open_is_lost(chip, clock):
    relay = relay_on(chip, clock)
    relay.close()
    for use in (relay.state, lambda: relay.switch(True)):
        with pytest.raises(DeviceLost, match="not open"):
            use()
    assert chip.history == []


class FakeGpiod:
    """What `gpiod` does when a line is taken, and who it says has it."""

    class Info:
        used = True
        consumer = "other-daemon"

    def __init__(self, error):
        self.error = error

    def request_lines(self, path, **_):
        raise self.error

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def get_line_info(self, line):
        return self.Info()


@pytest.mark.parametrize(
    ("raised", "number", "text"),
    [
        (OSError(errno.EBUSY, "busy"), errno.EBUSY, "in use by other-daemon"),
        (OSError(errno.EACCES, "denied"), errno.EACCES, "denied"),
        (ValueError("line offset out of range"), errno.EINVAL, "out of range"),
    ],
)
def test_the_real_request_makes_every_failure_an_oserror(monkeypatch, raised, number, text):
    fake = FakeGpiod(raised)
    monkeypatch.setattr(gpiod, "request_lines", fake.request_lines)
    monkeypatch.setattr(gpiod, "Chip", lambda _: fake)
    with pytest.raises(OSError, match=text) as caught:
        gpio.request_lines("/dev/gpiochip0", consumer="ventwright", config={1: None})
    assert caught.value.errno == number


def test_the_real_request_of_a_chip_that_is_not_there():
    with pytest.raises(FileNotFoundError):
        gpio.request_lines("/dev/gpiochip-none", consumer="ventwright", config={1: None})


def test_the_emulated_chip_refuses_what_the_kernel_refuses(chip):
    request = chip.request_lines(chip.path, consumer="me", config={1: None, (2, 3): None})
    for call, number in [
        (lambda: request.set_value(1, Value.ACTIVE), errno.EPERM),
        (lambda: request.get_value(9), errno.EINVAL),
        (lambda: chip.request_lines(chip.path, config={}), errno.EINVAL),
        (lambda: chip.request_lines(chip.path, config={3: None}), errno.EBUSY),
    ]:
        with pytest.raises(OSError, match=r".") as caught:
            call()
        assert caught.value.errno == number
    request.release()
    request.release()
    with pytest.raises(gpiod.RequestReleasedError):
        request.get_value(1)


def test_output_values_go_before_the_settings_as_in_gpiod(chip):
    settings = LineSettings(direction=Direction.OUTPUT, active_low=True)
    chip.request_lines(chip.path, config={5: settings}, output_values={5: Value.ACTIVE})
    assert chip.history == [Change(0, 5, False)]
