"""The shared bus: each error once and for ever, and what one part's trouble costs the others."""

import dataclasses
import errno
import threading

import pytest
from smbus2 import i2c_msg

from fakes import FakeClock, nothing, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.sht import Sht3xTwin
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.i2c.link import I2CLink
from ventwright_drivers.i2c.sht import Sht31

PASSING = [errno.EREMOTEIO, errno.ENXIO, errno.ETIMEDOUT, errno.EAGAIN]
FATAL = [errno.EIO, errno.EBUSY, errno.ENODEV, errno.EBADF]
TRIES, PAUSE_MS = 3, 3


def air(quantity):
    return {"temperature": 20.0, "humidity": 40.0}[quantity]


class Rig:
    """A bus that counts how often it was opened, and that can be gone."""

    def __init__(self):
        self.clock = FakeClock()
        self.opened = []
        self.closed = []
        self.bus = EmulatedBus(self.clock.now)
        self.bus.plug(Sht3xTwin(air, 0x44))
        self.bus.plug(Sht3xTwin(air, 0x45))
        self.wires = wiring(self.clock, open_bus=self.open)

    def open(self, number):
        handle = Handle(self, number)
        self.opened.append(handle)
        return handle

    def part(self, address=0x44):
        return Sht31(Sht31.Options(address=address), self.wires)


class Handle:
    def __init__(self, rig, number):
        self.rig, self.number, self.dead = rig, number, False

    def i2c_rdwr(self, *messages):
        if self.dead:
            raise OSError(errno.ENODEV, "No such device")
        self.rig.bus.i2c_rdwr(*messages)

    def close(self):
        assert self not in self.rig.closed
        self.rig.closed.append(self)


@pytest.fixture
def rig():
    made = Rig()
    yield made
    assert len(made.opened) == len(made.closed), "a bus was left open"


@pytest.mark.parametrize("number", PASSING)
def test_an_error_worth_retrying_is_not_noticed_when_it_passes(rig, number):
    with rig.part() as part:
        for times in range(1, TRIES):
            rig.bus.calls.clear()
            rig.bus.fail(number, 0x44, times)
            assert part.read() is not None
            assert rig.bus.calls[0x44] == times + 2  # the write and the read of a sample


@pytest.mark.parametrize("number", PASSING)
def test_an_error_that_stays_costs_three_tries_and_then_the_part(rig, number):
    with rig.part() as part:
        rig.bus.calls.clear()
        rig.bus.fail(number)
        assert part.read() is None
        assert rig.bus.calls[0x44] == TRIES
        rig.clock.sleep_until(rig.clock.now() + part.silence_ms)
        with pytest.raises(NoAnswer, match="nothing answers at I2C address 0x44 on bus 1"):
            part.read()
        rig.bus.heal()
        assert part.read() is not None


@pytest.mark.parametrize("number", FATAL)
def test_other_errors_lose_the_bus_without_a_second_try(rig, number):
    with rig.part() as part:
        rig.bus.calls.clear()
        rig.bus.fail(number, times=1)
        with pytest.raises(DeviceLost, match="I2C bus 1 failed"):
            part.read()
        assert rig.bus.calls[0x44] == 1
        part.close()
        part.start()
        assert part.read() is not None


def test_a_dead_address_delays_its_neighbours_by_its_retries_only(rig):
    dead, alive = rig.part(0x45), rig.part(0x44)
    with dead, alive:
        rig.bus.unplug(0x45)
        before = rig.clock.now()
        assert dead.read() is None
        assert rig.clock.now() - before == (TRIES - 1) * PAUSE_MS
        before = rig.clock.now()
        assert alive.read() is not None
        assert rig.clock.now() - before == 16


def test_closing_twice_and_before_start_is_harmless(rig):
    part = rig.part()
    part.close()
    part.start()
    part.close()
    part.close()
    with pytest.raises(DeviceLost, match="/dev/i2c-1 is not open"):
        part.read()


def test_parts_share_a_descriptor_and_the_last_one_closes_it(rig):
    one, other = rig.part(0x44), rig.part(0x45)
    one.start()
    other.start()
    assert [handle.number for handle in rig.opened] == [1]
    one.close()
    assert rig.closed == []
    assert other.read() is not None
    other.close()
    assert rig.closed == rig.opened


def test_starting_again_leaks_nothing(rig):
    part = rig.part()
    for _ in range(5):
        part.start()
    part.close()
    assert len(rig.opened) == 5


def test_a_start_that_fails_leaves_the_bus(rig):
    rig.bus.unplug(0x44)
    with pytest.raises(NoAnswer):
        rig.part().start()
    assert len(rig.closed) == 1


def test_the_first_to_reopen_does_not_inherit_a_dead_descriptor(rig):
    one, other = rig.part(0x44), rig.part(0x45)
    one.start()
    other.start()
    rig.opened[0].dead = True
    with pytest.raises(DeviceLost):
        one.read()
    one.start()  # while the other still holds the dead one
    assert one.read() is not None
    with pytest.raises(DeviceLost):
        other.read()
    other.start()
    assert other.read() is not None
    assert len(rig.opened) == 2
    one.close()
    other.close()


def test_two_wirings_never_share_a_bus(rig):
    twin = dataclasses.replace(rig.wires, open_port=lambda *_: nothing())
    with Sht31(Sht31.Options(), rig.wires), Sht31(Sht31.Options(), twin):
        assert len(rig.opened) == 2


def test_a_bus_that_is_not_there_is_lost():
    with pytest.raises(DeviceLost, match=r"^I2C bus 1 is not there: is I2C switched on"):
        Sht31(Sht31.Options(), wiring(FakeClock())).start()


@pytest.mark.parametrize(
    ("number", "why"),
    [(errno.EACCES, "may not be opened by this user: .*-aG i2c "), (errno.EIO, "does not open: ")],
)
def test_a_bus_that_does_not_open_says_why(number, why):
    def fail(_):
        raise OSError(number, "reason")

    with pytest.raises(DeviceLost, match=f"^I2C bus 1 {why}"):
        I2CLink(wiring(FakeClock(), open_bus=fail), 1, 0x44)


def test_a_closed_link_refuses(rig):
    link = I2CLink(rig.wires, 1, 0x44)
    link.close()
    link.close()
    with pytest.raises(DeviceLost, match="bus 1 is not open"):
        link.write(b"\x94")


def test_a_transfer_is_never_cut_by_another_thread(rig):
    inside, joined = threading.Event(), threading.Event()
    real = rig.bus.i2c_rdwr

    def slow(message):
        if message.addr == 0x45:
            joined.set()
        else:
            inside.set()
            cut.append(joined.wait(0.03))  # time enough for the other, were there no lock
        real(message)

    cut = []
    with rig.part(0x44) as one, rig.part(0x45) as other:
        rig.bus.i2c_rdwr = slow
        thread = threading.Thread(target=one.link.write, args=(b"\x30\x41",))
        thread.start()
        assert inside.wait(10)
        other.link.write(b"\x30\x41")
        thread.join(10)
    assert cut == [False]
    assert joined.is_set()


def test_an_exchange_is_one_transfer(rig):
    seen = []
    link = I2CLink(rig.wires, 1, 0x44)
    rig.opened[0].i2c_rdwr = lambda *messages: seen.append([m.flags for m in messages])
    assert link.exchange(b"\x20", 3) == bytes(3)
    link.close()
    assert seen == [[0, 1]]


def test_work_of_several_transfers_is_done_again_as_a_whole(rig):
    done = []

    def work(transfer):
        done.append("read")
        transfer(i2c_msg.write(0x44, b"\x30\xa2"))
        done.append("write")
        return "result"

    link = I2CLink(rig.wires, 1, 0x44)
    rig.bus.fail(errno.EAGAIN, times=2)
    assert link.transact(work) == "result"
    link.close()
    assert done == ["read", "read", "read", "write"]
    assert rig.clock.waits == [PAUSE_MS, PAUSE_MS]


def test_no_thread_comes_between_the_transfers_of_one_work(rig):
    inside, order = threading.Event(), []
    link, other = (I2CLink(rig.wires, 1, address) for address in (0x44, 0x45))

    def intrude():
        inside.wait(5)
        other.write(b"\x30\xa2")
        order.append("other")

    def work(transfer):
        inside.set()
        thread.join(0.02)
        order.append("work")

    thread = threading.Thread(target=intrude)
    thread.start()
    link.transact(work)
    thread.join(5)
    assert order == ["work", "other"]
    link.close()
    other.close()
