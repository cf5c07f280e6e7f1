"""Four-byte relay frames: protocols.md section 10, operations 00 to 05 confirmed there."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from fakes import FakeClock, twin_wiring
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.errors import DeviceLost, NoAnswer, Refused
from ventwright_drivers.relay.a0 import A0Relay, decode, encode


@pytest.mark.parametrize(
    ("channel", "operation", "frame"),
    [
        (1, 1, "A0 01 01 A2"),
        (1, 0, "A0 01 00 A1"),
        (1, 2, "A0 01 02 A3"),
        (1, 3, "A0 01 03 A4"),
        (1, 4, "A0 01 04 A5"),
        (1, 5, "A0 01 05 A6"),
        (2, 1, "A0 02 01 A3"),
        (2, 0, "A0 02 00 A2"),
        (8, 1, "A0 08 01 A9"),
    ],
)
def test_frames(channel: int, operation: int, frame: str) -> None:
    assert encode(channel, operation) == bytes.fromhex(frame)


def test_open_loop_switches_and_cannot_tell() -> None:
    with byte_pairs(A0Relay, [("A0 01 01 A2", b""), ("A0 01 00 A1", b"")]) as relay:
        relay.start()
        relay.switch(True)
        relay.switch(False)
        assert relay.state() is None
        assert relay.clock.now() == 100  # the pause between the two frames


def test_starting_and_closing_send_nothing() -> None:
    with byte_pairs(A0Relay, [], channel=8, answers=True) as relay:
        relay.start()
        relay.close()


def test_an_answering_board_confirms() -> None:
    pairs = [
        ("A0 01 03 A4", "A0 01 01 A2"),
        ("A0 01 02 A3", "A0 01 00 A1"),
        ("A0 01 05 A6", "A0 01 00 A1"),
        ("A0 01 05 A6", "A0 02 01 A3" + "FF A0" + "A0 01 01 A2"),  # another channel, garbage
    ]
    with byte_pairs(A0Relay, pairs, answers=True) as relay:
        relay.start()
        relay.switch(True)
        relay.switch(False)
        assert relay.state() is False
        assert relay.state() is True


def test_a_board_that_answers_otherwise_has_refused() -> None:
    with byte_pairs(A0Relay, [("A0 01 03 A4", "A0 01 00 A1")], answers=True) as relay:
        relay.start()
        with pytest.raises(Refused, match="answers that the contact is open"):
            relay.switch(True)


@pytest.mark.parametrize("answer", ["", "A0 01 01 A3", "A0 01 02 A3", "A0 01", "A0 02 01 A3"])
def test_no_valid_answer_is_said(answer: str) -> None:
    with byte_pairs(A0Relay, [("A0 01 03 A4", answer)], answers=True) as relay:
        relay.start()
        with pytest.raises(NoAnswer):
            relay.switch(True)


def test_an_old_answer_is_not_taken_for_the_new_one() -> None:
    pairs = [(None, "A0 01 01 A2"), ("A0 01 05 A6", "")]
    with byte_pairs(A0Relay, pairs, answers=True) as relay:
        relay.start()
        with pytest.raises(NoAnswer):
            relay.state()


def test_switching_before_start_and_after_close_is_lost() -> None:
    with byte_pairs(A0Relay, []) as relay:
        with pytest.raises(DeviceLost, match="not open"):
            relay.switch(True)
        relay.start()
        relay.close()
        with pytest.raises(DeviceLost, match="not open"):
            relay.switch(False)


heads = st.sampled_from([b"\xa0", b"\xa0\x01", b"\xa0\x01\x01"])


@given(st.lists(heads | st.binary(max_size=9), max_size=6).map(b"".join), st.integers(1, 8))
def test_no_bytes_raise_and_none_hide_the_reply_behind_them(garbage: bytes, channel: int) -> None:
    data = garbage + encode(channel, 1)
    found, used = [], 1
    while used and data:
        used, state = decode(channel, data)
        data = data[used:]
        found.append(state)
    assert [state for state in found if state is not None][-1:] == [True]


@given(st.binary(min_size=4, max_size=4))
def test_a_wrong_sum_is_never_a_state(data: bytes) -> None:
    _, state = decode(data[1], data)
    assert state is None or (data[0] == 0xA0 and data[3] == sum(data[:3]) & 0xFF)


def test_the_twin_obeys_every_operation_and_is_silent_by_default() -> None:
    twin = A0Twin(channels=2)
    for now, (channel, operation) in enumerate([(1, 1), (2, 3), (1, 4), (2, 2), (2, 4), (2, 5)]):
        twin.receive(encode(channel, operation), now * 100)
    assert twin.emit(600) == b""
    assert twin.due() is None
    assert twin.contacts == [False, True]
    assert twin.history == [
        (0, 1, True),
        (100, 2, True),
        (200, 1, False),
        (300, 2, False),
        (400, 2, True),
    ]


@pytest.mark.parametrize(
    "spoilt",
    ["A0 01 01 A3", "A1 01 01 A3", "A0 01 01", "A0 09 01 AA", "A0 00 01 A1", "A0 01 06 A7"],
)
def test_the_twin_ignores_what_is_no_frame_for_it(spoilt: str) -> None:
    twin = A0Twin(answers=True)
    twin.receive(bytes.fromhex(spoilt), 0)
    assert (twin.emit(0), twin.contacts, twin.history) == (b"", [False] * 8, [])


def test_the_twin_misses_frames_that_come_too_fast_and_finds_them_behind_garbage() -> None:
    twin = A0Twin()
    twin.receive(encode(1, 1) + encode(2, 1), 0)
    twin.receive(b"\xa0\xa0" + encode(3, 1), 50)
    assert twin.contacts[:3] == [True, False, True]


@pytest.mark.parametrize("answers", [False, True])
def test_driver_and_twin_agree(answers: bool) -> None:
    twin = A0Twin(answers=answers)
    options = A0Relay.Options(port="/dev/twin", channel=8, answers=answers)
    clock = FakeClock()
    with A0Relay(options, twin_wiring(clock, twin)) as relay:
        assert twin.history == []
        for on in (True, False, True):
            relay.switch(on)
            assert twin.contacts[7] is on
            assert relay.state() is (on if answers else None)
    assert twin.contacts[7] is True  # closing lets go of the port, not of the contact


def test_a_board_that_never_answers_is_found_out() -> None:
    options = A0Relay.Options(port="/dev/twin", answers=True)
    with A0Relay(options, twin_wiring(FakeClock(), A0Twin())) as relay, pytest.raises(NoAnswer):
        relay.state()
