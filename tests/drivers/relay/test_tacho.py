"""The tachometer on an emulated chip with a fan at its line; protocols.md sections 23 and 24."""

import pytest
from gpiod import EdgeEvent, LineSettings
from gpiod.line import Bias, Direction, Edge

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.fan import TachoTwin
from ventwright_drivers.emulated.gpio_chip import EmulatedChip
from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.relay.tacho import Tacho, speed

LINE = 23


class Rig:
    def __init__(self, pulses=2, bounce_us=0, **options):
        self.clock = FakeClock(5000)
        self.chip = EmulatedChip(self.clock.now)
        self.air = {"fan_speed": 1200.0}
        self.chip.attach(LINE, TachoTwin(self.air.__getitem__, pulses, bounce_us))
        self.config = None
        options = Tacho.Options(**{"line": LINE, **options})
        self.part = Tacho(options, wiring(self.clock, request_lines=self.request))

    def request(self, path, **words):
        self.config = words["config"]
        return self.chip.request_lines(path, **words)

    def read_after(self, ms):
        self.clock.time += ms
        return self.part.read()


def event(ms, number):
    return EdgeEvent(EdgeEvent.Type.FALLING_EDGE.value, ms * 1_000_000, LINE, number, number)


@pytest.mark.parametrize(
    ("first", "last", "pulses", "found"),
    [
        (event(0, 1), event(25, 2), 2, 1200.0),  # a period of 25 ms
        (event(0, 1), event(1000, 41), 2, 1200.0),  # 40 pulses in 1 s
        (event(0, 1), event(1000, 41), 4, 600.0),
        (event(0, 0xFFFFFFF0), event(1000, 24), 2, 1200.0),  # the kernel's number turned over
        (event(0, 7), event(0, 7), 2, None),
        (event(0, 7), event(0, 8), 2, None),
    ],
)
def test_speed_of_two_edges(first, last, pulses, found):
    assert speed(first, last, pulses) == found


def test_the_line_is_an_input_with_falling_edges_pulled_up_and_debounced():
    rig = Rig(debounce=200)
    with rig.part:
        settings = rig.config[LINE]
    assert settings.direction is Direction.INPUT
    assert settings.edge_detection is Edge.FALLING
    assert settings.bias is Bias.PULL_UP
    assert settings.debounce_period.microseconds == 200
    with Rig(pull_up=False).part as part:
        assert part._settings().bias is Bias.AS_IS


@pytest.mark.parametrize("rpm", [45.0, 450.0, 1200.0, 30_000.0])
@pytest.mark.parametrize("pulses", [1, 2, 4])
def test_driver_and_twin_agree(rpm, pulses):
    rig = Rig(pulses, pulses_per_revolution=pulses)
    rig.air["fan_speed"] = rpm
    with rig.part:
        found = [rig.read_after(1000) for _ in range(12)]
    values = [sample.values[0] for sample in found if sample]
    assert values[1:] == pytest.approx([rpm] * len(values[1:]), rel=1e-6)
    assert len(values) >= 8


def test_edges_lost_by_a_full_buffer_still_count():
    rig = Rig()
    with rig.part:
        rig.read_after(1000)
        assert rig.read_after(60_000).values == pytest.approx((1200,))
        assert len(rig.part._events()) == 0


def test_bouncing_edges_count_once():
    rig = Rig(bounce_us=90)
    with rig.part:
        rig.read_after(1000)
        assert rig.read_after(1000).values == pytest.approx((1200,))
    rig = Rig(bounce_us=90, debounce=0)
    with rig.part:
        rig.read_after(1000)
        assert rig.read_after(1000).values == pytest.approx((2400,), rel=0.01)


def test_a_fan_that_stops_shows_zero_after_two_seconds_and_then_its_new_speed_alone():
    rig = Rig()
    with rig.part:
        rig.read_after(1000)
        rig.read_after(0)
        rig.air["fan_speed"] = 0.0
        assert rig.read_after(1999) is None
        assert rig.read_after(1).values == (0.0,)
        assert rig.read_after(1000).values == (0.0,)
        rig.air["fan_speed"] = 900.0
        assert rig.read_after(1000).values == pytest.approx((900,))


def test_a_fan_that_never_turned_shows_zero_and_a_first_edge_is_no_speed():
    rig = Rig()
    rig.air["fan_speed"] = 0.0
    with rig.part:
        assert rig.read_after(1000) is None
        assert rig.read_after(1000).values == (0.0,)
        rig.air["fan_speed"] = 60.0  # a fall every 500 ms, the first one after 250
        assert rig.read_after(300) is None
        assert rig.read_after(500).values == pytest.approx((60,))


def test_starting_again_counts_from_anew():
    rig = Rig()
    with rig.part:
        rig.read_after(1000)
        rig.clock.time += 1000
        rig.part.start()
        assert rig.part.read() is None
        assert rig.read_after(1000).values == pytest.approx((1200,))


def test_a_chip_that_goes_is_lost_and_so_is_a_line_in_use():
    rig = Rig()
    with rig.part:
        assert rig.part.place == "/dev/gpiochip0"
        rig.chip.unplug()
        with pytest.raises(DeviceLost, match="line 23 of /dev/gpiochip0: No such device"):
            rig.part.read()
    with pytest.raises(DeviceLost, match="not open"):
        rig.part.read()
    rig.chip.plug()
    rig.chip.request_lines(rig.chip.path, consumer="fan-script", config={LINE: None})
    with pytest.raises(DeviceLost, match="in use by fan-script"):
        rig.part.start()


def test_the_emulated_kernel_gives_the_edges_that_were_asked_for():
    rig = Rig()
    for edge, kinds in (
        (Edge.NONE, []),
        (Edge.RISING, ["RISING_EDGE"] * 2),
        (Edge.BOTH, ["FALLING_EDGE", "RISING_EDGE"] * 2),
    ):
        config = {LINE: LineSettings(direction=Direction.INPUT, edge_detection=edge)}
        request = rig.chip.request_lines(rig.chip.path, config=config)
        rig.clock.time += 50
        assert request.wait_edge_events(0) == bool(kinds)
        if kinds:
            assert [event.event_type.name for event in request.read_edge_events()] == kinds
        with pytest.raises(BlockingIOError):
            request.read_edge_events()
        request.release()
    config = {LINE: LineSettings(active_low=True, edge_detection=Edge.FALLING)}
    request = rig.chip.request_lines(rig.chip.path, config=config)
    rig.clock.time += 1000
    numbers = [event.line_seqno for event in request.read_edge_events()]
    assert numbers == list(range(25, 41))  # of 40 the newest 16
