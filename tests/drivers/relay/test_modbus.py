"""Modbus RTU frames: the protocol's own examples and computed ones, protocols.md section 11."""

from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from fakes import FakeClock, twin_wiring, wiring
from ventwright_drivers.checksums import crc16_modbus
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.errors import DeviceLost, NoAnswer, Refused
from ventwright_drivers.relay.modbus import READ, WRITE, ModbusRelay, decode, encode

ON = "01 05 00 00 FF 00 8C 3A"
OFF = "01 05 00 00 00 00 CD CA"
ASK = "01 01 00 00 00 01 FD CA"  # computed here, and checked by pymodbus in tests/reference
CLOSED = "01 01 01 01 90 48"  # the same
OPEN = "01 01 01 00 51 88"
BAD_WRITE = "01 85 02 C3 51"
BAD_READ = "01 81 02 C1 91"


@pytest.mark.parametrize(
    ("function", "coil", "value", "frame"),
    [
        (READ, 20, 19, "01 01 00 13 00 13 8C 02"),  # the specification's own
        (WRITE, 173, 0xFF00, "01 05 00 AC FF 00 4C 1B"),  # the specification's own
        (WRITE, 1, 0xFF00, ON),
        (WRITE, 1, 0, OFF),
        (WRITE, 2, 0xFF00, "01 05 00 01 FF 00 DD FA"),
        (READ, 1, 8, "01 01 00 00 00 08 3D CC"),
        (READ, 1, 1, ASK),
    ],
)
def test_requests(function: int, coil: int, value: int, frame: str) -> None:
    assert encode(1, function, coil, value) == bytes.fromhex(frame)


def test_switching_and_reading_back() -> None:
    pairs = [(ASK, OPEN), (ON, ON), (ASK, CLOSED), (OFF, OFF), (ASK, OPEN)]
    with byte_pairs(ModbusRelay, pairs) as relay:
        relay.start()
        assert relay.state() is False
        relay.switch(True)
        assert relay.state() is True
        relay.switch(False)
        assert relay.state() is False
        assert relay.clock.waits == [5, 5, 5, 5]  # 3.5 characters at 9600 baud, rounded up


def test_a_first_switch_looks_for_a_reply_behind_the_echo() -> None:
    with byte_pairs(ModbusRelay, [(ON, ON)]) as relay:
        relay.start()
        relay.switch(True)
        assert relay.clock.now() == 100


def test_an_echoing_adapter_is_recognised_and_stripped() -> None:
    pairs = [(ON, ON + ON), (ASK, ASK + CLOSED), (OFF, OFF + OFF), (ASK, ASK + OPEN)]
    with byte_pairs(ModbusRelay, pairs) as relay:
        relay.start()
        relay.switch(True)
        assert relay.state() is True
        relay.switch(False)
        assert relay.state() is False


def test_a_mute_board_behind_an_echoing_adapter_does_not_pass_for_switched() -> None:
    with byte_pairs(ModbusRelay, [(ASK, ASK + OPEN), (ON, ON), (ASK, ASK)]) as relay:
        relay.start()
        assert relay.state() is False
        with pytest.raises(NoAnswer):
            relay.switch(True)
        with pytest.raises(NoAnswer):
            relay.state()


@pytest.mark.parametrize("echo", ["", ON])
def test_an_exception_is_a_refusal_in_words(echo: str) -> None:
    with byte_pairs(ModbusRelay, [(ON, echo + BAD_WRITE), (ASK, BAD_READ)]) as relay:
        relay.start()
        with pytest.raises(Refused, match="exception 02, illegal address"):
            relay.switch(True)
        with pytest.raises(Refused, match="exception 02, illegal address"):
            relay.state()


@pytest.mark.parametrize(
    "answer",
    [
        "",
        "01 01 01 01 90 49",  # wrong CRC
        "02 01 01 01 A0 48",  # another board's address
        "01 01 01",
        ON,  # an answer to something else, too late
    ],
)
def test_no_valid_answer_is_said(answer: str) -> None:
    with byte_pairs(ModbusRelay, [(ASK, answer)]) as relay:
        relay.start()
        with pytest.raises(NoAnswer):
            relay.state()


def test_an_old_answer_is_not_taken_for_the_new_one() -> None:
    with byte_pairs(ModbusRelay, [(None, CLOSED), (ASK, "")]) as relay:
        relay.start()
        with pytest.raises(NoAnswer):
            relay.state()


def test_garbage_before_the_answer_is_passed_over() -> None:
    with byte_pairs(ModbusRelay, [(ASK, "01 05 FF" + BAD_READ), (ASK, "01 01 FF" + OPEN)]) as relay:
        relay.start()
        with pytest.raises(Refused):
            relay.state()
        assert relay.state() is False


def test_starting_opens_the_port_as_told_and_sends_nothing() -> None:
    asked: list[Any] = []

    class Port:
        write = None  # any write would raise

        def close(self) -> None:
            asked.append("closed")

    def open_port(*args: Any) -> Any:
        asked.append(args)
        return Port()

    options = ModbusRelay.Options(port="/dev/r", address=7, baud=19200, parity="E", stop_bits=2)
    relay = ModbusRelay(options, wiring(SystemClock(), open_port=open_port))
    assert asked == []
    relay.start()
    relay.close()
    relay.close()
    assert asked == [("/dev/r", 19200, "E", 2), "closed"]


def test_switching_before_start_is_lost() -> None:
    with byte_pairs(ModbusRelay, []) as relay, pytest.raises(DeviceLost, match="not open"):
        relay.switch(True)


heads = st.sampled_from([b"\x01", b"\x01\x01", b"\x01\x05", bytes.fromhex(ASK)[:7]])


@given(st.lists(heads | st.binary(max_size=9), max_size=6).map(b"".join))
@example(bytes.fromhex(ASK))
def test_no_bytes_raise_and_none_hide_the_reply_behind_them(garbage: bytes) -> None:
    data = garbage + bytes.fromhex(CLOSED)
    found: list[bytes | None] = []  # garbage may hold our own request: an echo
    while data:
        used, frame = decode(bytes.fromhex(ASK), data)
        assert used
        data = data[used:]
        found.append(frame)
    assert found[-1] == bytes.fromhex(CLOSED)


@given(st.integers(1, 0xFFFF))
def test_a_wrong_crc_is_never_an_answer(error: int) -> None:
    frame = bytes.fromhex(CLOSED)
    wrong = (int.from_bytes(frame[-2:], "big") ^ error).to_bytes(2, "big")
    assert decode(bytes.fromhex(ASK), frame[:-2] + wrong) == (0, None)


# protocols.md section 11: PDUs from the protocol's text, CRCs computed there.
TWIN_PAIRS = [
    (ON, ON),
    ("01 05 00 01 FF 00 DD FA", "01 05 00 01 FF 00 DD FA"),
    ("01 01 00 00 00 08 3D CC", "01 01 01 00 51 88"),
    ("01 0F 00 00 00 08 01 FF BE D5", "01 0F 00 00 00 08 54 0D"),
    ("01 0F 00 00 00 08 01 00 FE 95", "01 0F 00 00 00 08 54 0D"),
    ("01 05 00 AC FF 00 4C 1B", BAD_WRITE),  # no coil 173 here
    ("01 01 00 13 00 13 8C 02", BAD_READ),
    ("00 05 00 00 FF 00 8D EB", ""),  # broadcast
    ("01 05 00 00 FF 00 8C 3B", ""),  # wrong CRC
    ("01 05 00 00 FF 00", ""),
]


def asked(twin: ModbusTwin, request: bytes, now: int = 0) -> bytes:
    twin.receive(request, now)
    assert twin.emit(now + 4) == b""  # not over before 3.5 characters of silence
    return twin.emit(now + 5)


def with_crc(text: str) -> bytes:
    body = bytes.fromhex(text)
    return body + crc16_modbus(body).to_bytes(2, "little")


@pytest.mark.parametrize(("request_", "reply"), TWIN_PAIRS)
def test_the_twin_answers_as_the_protocol_says(request_: str, reply: str) -> None:
    assert asked(ModbusTwin(), bytes.fromhex(request_)) == bytes.fromhex(reply)


@pytest.mark.parametrize(
    ("request_", "reply"),
    [
        ("01 03 00 00 00 01", "01 83 01"),
        ("01 05 00 00 12 34", "01 85 03"),
        ("01 01 00 00 00 00", "01 81 03"),
        ("01 0F 00 00 00 08 02 FF", "01 8F 03"),
        ("01 0F 00 07 00 02 01 03", "01 8F 02"),
        ("01 05 00 00", "01 85 03"),
    ],
)
def test_the_twin_refuses_in_the_protocols_words(request_: str, reply: str) -> None:
    twin = ModbusTwin()
    assert asked(twin, with_crc(request_)) == with_crc(reply)
    assert twin.history == []


def test_the_twin_needs_silence_between_frames() -> None:
    twin = ModbusTwin()
    twin.receive(bytes.fromhex(ON), 0)
    twin.receive(bytes.fromhex(OFF), 4)
    assert twin.emit(100) == b""
    assert twin.history == []
    assert asked(twin, bytes.fromhex(ON), 200) == bytes.fromhex(ON)


def test_the_twin_takes_a_frame_in_pieces_and_obeys_a_broadcast_silently() -> None:
    twin = ModbusTwin()
    twin.receive(bytes.fromhex(ON)[:3], 0)
    twin.receive(bytes.fromhex(ON)[3:], 3)
    assert twin.due() == 8
    assert twin.emit(8) == bytes.fromhex(ON)
    assert asked(twin, bytes.fromhex("00 05 00 00 FF 00 8D EB"), 20) == b""
    assert asked(twin, with_crc("02 05 00 01 FF 00"), 40) == b""  # another board's
    assert asked(twin, with_crc("01 0F 00 00 00 08 01 05"), 60)
    assert twin.contacts == [True, False, True, False, False, False, False, False]
    assert twin.history == [(8, 1, True), (65, 3, True)]


@pytest.mark.parametrize("echo", [False, True])
@pytest.mark.parametrize("first", ["switch", "state"])
def test_driver_and_twin_agree(echo: bool, first: str) -> None:
    twin = ModbusTwin(address=9, coils=16, echo=echo)
    options = ModbusRelay.Options(port="/dev/twin", address=9, coil=16)
    with ModbusRelay(options, twin_wiring(FakeClock(), twin)) as relay:
        if first == "state":
            assert relay.state() is False
        assert twin.history == []
        for on in (True, False, True):
            relay.switch(on)
            assert twin.contacts[15] is on
            assert relay.state() is on


@pytest.mark.parametrize("echo", [False, True])
def test_a_coil_that_the_board_has_not_is_refused(echo: bool) -> None:
    options = ModbusRelay.Options(port="/dev/twin", coil=9)
    with ModbusRelay(options, twin_wiring(FakeClock(), ModbusTwin(echo=echo))) as relay:
        for _ in range(2):
            with pytest.raises(Refused, match="illegal address"):
                relay.switch(True)
            with pytest.raises(Refused, match="illegal address"):
                relay.state()
