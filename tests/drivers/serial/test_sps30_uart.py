"""SPS30 on a serial port: bytes from protocols.md section 4, and what goes wrong."""

import struct

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from fakes import FakeClock, twin_wiring
from ventwright_drivers.emulated.sps30 import Sps30Twin
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.shdlc import Reply, decode, request
from ventwright_drivers.serial.sps30 import Sps30

# Confirmed by the maker's library or the datasheet; acknowledgements computed.
WAKE, WOKEN = "7E 00 7D 31 00 EE 7E", "7E 00 7D 31 00 00 EE 7E"
AWAKE = "7E 00 7D 31 43 00 AB 7E"  # captured
STOP, STOPPED = "7E 00 01 00 FE 7E", "7E 00 01 00 00 FE 7E"
START, STARTED = "7E 00 00 02 01 03 F9 7E", "7E 00 00 00 00 FF 7E"
RUNS = "7E 00 00 43 00 BC 7E"
READ, EMPTY = "7E 00 03 00 FC 7E", "7E 00 03 00 00 FC 7E"
CLEAN, CLEANED = "7E 00 56 00 A9 7E", "7E 00 56 00 00 A9 7E"
STATUS, WELL = "7E 00 D2 01 00 2C 7E", "7E 00 D2 00 05 00 00 00 00 00 28 7E"
FAN_FAILED = "7E 00 D2 00 05 00 00 00 10 00 18 7E"
FAN_SLOW = "7E 00 D2 00 05 00 20 00 00 00 08 7E"
VALUES = (
    "7E 00 03 00 28 3F C0 00 00 40 10 00 00 40 20 00 00 40 30 00 00 41 20 00 00 41 40 00 00 41"
    " 48 00 00 41 4C 00 00 41 50 00 00 3F 00 00 00 ED 7E"
)
SAMPLE = Sample((1.5, 2.25, 2.5, 2.75, 13, 3, 1, 0.5))

STIR = "FF"
BEGIN = [(STIR, b""), (WAKE, AWAKE), (STOP, STOPPED), (START, STARTED)]
AIR = {"pm1": 1.5, "pm2_5": 2.25, "pm4": 2.5, "pm10": 2.75}
AIR |= {"n0_3": 13.0, "n0_5": 3.0, "n1": 1.0, "n2_5": 0.5}
HOUR_MS = 3_600_000


@pytest.mark.parametrize(
    ("frame", "command", "values"),
    [
        (START, 0x00, (1, 3)),
        ("7E 00 00 02 01 05 F7 7E", 0x00, (1, 5)),
        (STOP, 0x01, ()),
        (READ, 0x03, ()),
        ("7E 00 10 00 EF 7E", 0x10, ()),
        (WAKE, 0x11, ()),
        (CLEAN, 0x56, ()),
        ("7E 00 80 01 00 7D 5E 7E", 0x80, (0,)),  # the sum is itself a flag, and stuffed
        ("7E 00 80 05 00 00 09 3A 80 B7 7E", 0x80, (0, 0, 9, 0x3A, 0x80)),
        ("7E 00 D0 01 00 2E 7E", 0xD0, (0,)),
        ("7E 00 D0 01 03 2B 7E", 0xD0, (3,)),
        ("7E 00 D1 00 2E 7E", 0xD1, ()),
        (STATUS, 0xD2, (0,)),
        ("7E 00 D3 00 2C 7E", 0xD3, ()),
    ],
)
def test_requests(frame: str, command: int, values: tuple[int, ...]) -> None:
    assert request(command, *values) == bytes.fromhex(frame)


@pytest.mark.parametrize(
    ("frame", "reply"),
    [
        (EMPTY, Reply(3, 0, b"")),
        (RUNS, Reply(0, 0x43, b"")),
        (AWAKE, Reply(0x11, 0x43, b"")),
        ("7E 00 80 00 04 00 09 3A 80 B8 7E", Reply(0x80, 0, b"\0\x09\x3a\x80")),
        ("7E 00 D0 00 09 30 30 30 38 30 30 30 30 00 9E 7E", Reply(0xD0, 0, b"00080000\0")),
        ("7E 00 D1 00 07 02 02 00 07 00 02 00 1A 7E", Reply(0xD1, 0, b"\2\2\0\7\0\2\0")),
    ],
)
def test_replies(frame: str, reply: Reply) -> None:
    data = bytes.fromhex(frame)
    assert decode(data) == (len(data), reply)


def test_start_and_read() -> None:
    with byte_pairs(Sps30, [*BEGIN, (READ, EMPTY), (READ, VALUES), (STATUS, WELL)]) as part:
        part.start()
        assert part.read() is None
        assert part.read() == SAMPLE
        assert part.clock.now() == 0


def test_a_sleeping_or_measuring_part_is_started_too() -> None:
    refused = "7E 00 01 43 00 BB 7E"
    begin = [(STIR, b""), (WAKE, WOKEN), (STOP, refused), (START, STARTED)]
    with byte_pairs(Sps30, begin) as part:
        part.start()


def test_a_start_that_is_refused_says_why() -> None:
    refused = pytest.raises(Refused, match=r"refused command 00: 43, not allowed")
    with byte_pairs(Sps30, [*BEGIN[:3], (START, RUNS)]) as part, refused:
        part.start()


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        ("7E 00 03 02 00 FA 7E", "02, unknown command"),
        ("7E 00 03 84 00 78 7E", "04, parameter out of range"),  # with the error flag
        ("7E 00 03 99 00 63 7E", "19, unknown reason"),
    ],
)
def test_error_states_are_told(reply: str, words: str) -> None:
    with byte_pairs(Sps30, [*BEGIN, (READ, reply)]) as part:
        part.start()
        with pytest.raises(Refused, match=f"/dev/pairs refused command 03: {words}"):
            part.read()


@pytest.mark.parametrize(
    ("status", "fault"),
    [
        (FAN_FAILED, "fan failed"),
        (FAN_SLOW, "fan speed out of range"),
        ("7E 00 D2 80 05 00 00 00 20 00 88 7E", "laser failed"),
        ("7E 00 D2 02 00 2B 7E", ""),  # old firmware has no status
    ],
)
def test_the_status_becomes_a_fault(status: str, fault: str) -> None:
    with byte_pairs(Sps30, [*BEGIN, (READ, VALUES), (STATUS, status)]) as part:
        part.start()
        assert part.read() == Sample(SAMPLE.values, fault)


def test_an_error_flag_without_a_status_is_a_fault() -> None:
    flagged = VALUES.replace("03 00 28", "03 80 28").replace("ED 7E", "6D 7E")
    with byte_pairs(Sps30, [*BEGIN, (READ, flagged), (STATUS, "7E 00 D2 02 00 2B 7E")]) as part:
        part.start()
        assert part.read() == Sample(SAMPLE.values, "the part reports an error")


@pytest.mark.parametrize(
    "spoilt", ["", VALUES.replace("ED 7E", "EC 7E"), VALUES.replace("00 28", "00 27"), STARTED]
)
def test_no_usable_reply_is_no_answer(spoilt: str) -> None:
    with byte_pairs(Sps30, [*BEGIN, (READ, spoilt)]) as part:
        part.start()
        with pytest.raises(NoAnswer, match="/dev/pairs sent nothing"):
            part.read()
        assert part.clock.now() == 500


def test_nothing_new_for_too_long_is_no_answer() -> None:
    with byte_pairs(Sps30, [*BEGIN, (READ, EMPTY), (READ, EMPTY)]) as part:
        part.start()
        part.clock.sleep_until(19_999)
        assert part.read() is None
        part.clock.sleep_until(20_000)
        with pytest.raises(NoAnswer, match="gives no measurement"):
            part.read()


def test_whole_numbers_where_floats_were_ordered_are_no_measurement() -> None:
    whole = "7E 00 03 00 14 00 01 00 02 00 02 00 02 00 0A 00 0C 00 0C 00 0C 00 0D 01 F4 B1 7E"
    with byte_pairs(Sps30, [*BEGIN, (READ, whole)]) as part:
        part.start()
        with pytest.raises(NoAnswer, match="20 bytes"):
            part.read()


def test_what_is_no_number_is_no_value() -> None:
    body = struct.pack(">BBBB10f", 0, 3, 0, 40, float("nan"), *[1.0] * 9)
    frame = b"\x7e" + body + bytes(((sum(body) & 0xFF) ^ 0xFF,)) + b"\x7e"
    with byte_pairs(Sps30, [*BEGIN, (READ, frame), (STATUS, WELL)]) as part:
        part.start()
        assert part.read() == Sample((None,) * 8)


def running(twin: Sps30Twin, hours: int, **options: int) -> FakeClock:
    clock = FakeClock()
    wires = twin_wiring(clock, twin)
    with Sps30(Sps30.Options(port="/dev/twin", **options), wires) as part:
        for _ in range(4 * hours):
            part.read()
            clock.sleep_until(clock.now() + HOUR_MS // 4)
    return clock


@pytest.mark.parametrize(("every", "at"), [(0, []), (10, [1, 11, 21]), (168, [1])])
def test_the_fan_is_cleaned_in_time(every: int, at: list[int]) -> None:
    twin = Sps30Twin(AIR.__getitem__)
    running(twin, 30, clean_every=every)
    assert [round(when / HOUR_MS) for when in twin.cleanings] == at


def test_a_restart_of_the_port_does_not_clean_again() -> None:
    twin = Sps30Twin(AIR.__getitem__)
    clock = FakeClock()
    part = Sps30(Sps30.Options(port="/dev/twin"), twin_wiring(clock, twin))
    for _ in range(5):
        part.start()
        clock.sleep_until(clock.now() + HOUR_MS)
        part.read()
    part.close()
    assert len(twin.cleanings) == 1


def test_cleaning_costs_ten_seconds_without_a_value() -> None:
    twin = Sps30Twin(AIR.__getitem__)
    clock = FakeClock()
    with Sps30(Sps30.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        clock.sleep_until(HOUR_MS + 1000)
        silent = 0
        while part.read() is None:
            silent += 1
            clock.sleep_until(clock.now() + 1000)
        assert silent == 10


def test_the_driver_wakes_a_sleeping_twin() -> None:
    twin = Sps30Twin(AIR.__getitem__, asleep=True)
    clock = FakeClock()
    with Sps30(Sps30.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        assert not twin.asleep
        clock.sleep_until(clock.now() + 1000)
        assert part.read() == SAMPLE


def say(twin: Sps30Twin, text: str, now: int = 0) -> bytes:
    twin.receive(bytes.fromhex(text), now)
    return twin.emit(now + 20)


PAIRS = [
    (READ, "7E 00 03 43 00 B9 7E"),  # idle
    (CLEAN, "7E 00 56 43 00 66 7E"),
    (WAKE, AWAKE),
    ("7E 00 00 02 01 04 F8 7E", "7E 00 00 04 00 FB 7E"),  # no such form
    ("7E 00 00 00 FF 7E", "7E 00 00 01 00 FE 7E"),  # nothing where two bytes are needed
    ("7E 00 41 00 BE 7E", "7E 00 41 02 00 BC 7E"),  # unknown
    ("7E 00 03 00 FB 7E", "7E 00 03 05 00 F7 7E"),  # wrong sum
    ("7E 00 80 01 00 7D 5E 7E", "7E 00 80 00 04 00 09 3A 80 B8 7E"),
    ("7E 00 80 05 00 00 00 00 00 7A 7E", "7E 00 80 00 00 7F 7E"),
    ("7E 00 80 01 00 7D 5E 7E", "7E 00 80 00 04 00 00 00 00 7B 7E"),
    ("7E 00 D0 01 00 2E 7E", "7E 00 D0 00 09 30 30 30 38 30 30 30 30 00 9E 7E"),
    ("7E 00 D1 00 2E 7E", "7E 00 D1 00 07 02 02 00 07 00 02 00 1A 7E"),
    (STATUS, WELL),
    (START, STARTED),
    (START, RUNS),
    ("7E 00 10 00 EF 7E", "7E 00 10 43 00 AC 7E"),  # no sleep while measuring
    (READ, EMPTY),
]


def test_the_twin_answers_as_the_part_does() -> None:
    twin = Sps30Twin(AIR.__getitem__)
    for request_, reply in PAIRS:
        assert say(twin, request_) == bytes.fromhex(reply), request_
    assert say(twin, READ, 1000) == bytes.fromhex(VALUES)
    assert say(twin, READ, 1001) == bytes.fromhex(EMPTY)
    twin.status = 1 << 4
    assert say(twin, STATUS, 1002)[3] == 0x80
    assert say(twin, "7E 00 D2 01 01 2B 7E", 1003)
    assert twin.status == 0
    assert say(twin, "7E 00 D3 00 2C 7E", 1004) == bytes.fromhex("7E 00 D3 00 00 2C 7E")
    assert say(twin, READ, 3000) == bytes.fromhex("7E 00 03 43 00 B9 7E")


def test_the_twin_sends_whole_numbers_when_told_to() -> None:
    twin = Sps30Twin({**AIR, "pm2_5": 2.0, "pm4": 2.0, "pm10": 2.0}.__getitem__)
    assert say(twin, "7E 00 00 02 01 05 F7 7E") == bytes.fromhex(STARTED)
    reply = decode(say(twin, READ, 1000))[1]
    assert reply is not None
    assert struct.unpack(">10H", reply.data) == (2, 2, 2, 2, 10, 12, 12, 13, 13, 500)


def test_asleep_the_first_bytes_are_lost_and_a_wake_must_follow_soon() -> None:
    twin = Sps30Twin(AIR.__getitem__, asleep=True)
    assert say(twin, WAKE, 0) == b""
    assert say(twin, READ, 50) == b""  # hears no other command
    assert say(twin, WAKE, 200) == b""  # too late: lost again
    assert say(twin, WAKE, 300) == bytes.fromhex(WOKEN)
    assert say(twin, "7E 00 10 00 EF 7E", 400) == bytes.fromhex("7E 00 10 00 00 EF 7E")
    assert twin.asleep


@given(st.binary(max_size=40))
@example(bytes((0x7E, 0x7D, 0x11, 0x13)))
def test_every_content_survives_stuffing(data: bytes) -> None:
    """Protocols.md section 26, 3: data and sum alike may be stuffed."""
    frame = request(0x7D, *data)
    assert frame.count(b"\x7e") == 2
    assert not {0x11, 0x13} & set(frame)
    body = bytes((0, 0x7D, 0, len(data), *data))
    used, reply = decode(_stuffed(body))
    assert reply == Reply(0x7D, 0, data)
    assert used == len(_stuffed(body))


def _stuffed(body: bytes) -> bytes:
    whole = (*body, (sum(body) & 0xFF) ^ 0xFF)
    return b"\x7e" + b"".join(map(_stuffed_byte, whole)) + b"\x7e"


def every(data: bytes) -> list[Reply]:
    found, used = [], 1
    while used and data:
        used, reply = decode(data)
        assert 0 <= used <= len(data)
        data = data[used:]
        found += [reply] if reply else []
    return found


heads = st.sampled_from([b"\x7e", b"\x7d", b"\x7e\x00\x03\x00\x28", b"\x7d\x5e", b"\x7e\x7e"])
garbage = st.lists(heads | st.binary(max_size=20), max_size=8).map(b"".join)


@given(garbage)
def test_no_bytes_raise_and_none_hide_the_frame_behind_them(data: bytes) -> None:
    assert every(data + bytes.fromhex(VALUES))[-1].data == bytes.fromhex(VALUES)[5:-2]


@given(st.binary(min_size=1, max_size=40), st.integers(1, 255))
def test_a_wrong_sum_is_never_a_reply(data: bytes, error: int) -> None:
    body = bytes((0, 3, 0, len(data), *data))
    right = (sum(body) & 0xFF) ^ 0xFF
    spoilt = _stuffed(body)[:-1].removesuffix(_stuffed_byte(right))
    frame = spoilt + _stuffed_byte((right + error) & 0xFF) + b"\x7e"
    assert every(frame) == []


def _stuffed_byte(byte: int) -> bytes:
    return bytes((0x7D, byte ^ 0x20)) if byte in (0x7E, 0x7D, 0x11, 0x13) else bytes((byte,))


@pytest.mark.parametrize("inner", ["7D", "7D 00", "00 7D 7D 5E", "00 03 00 00", "01 03 00 00 FB"])
def test_what_no_stuffing_makes_is_refused(inner: str) -> None:
    assert every(bytes.fromhex("7E" + inner + "7E")) == []


@pytest.mark.parametrize("length", [0, 3, 5])
def test_a_length_that_does_not_fit_is_refused_though_the_sum_is_right(length: int) -> None:
    assert every(_stuffed(bytes((0, 3, 0, length, 1, 2, 3, 4)))) == []
    assert every(_stuffed(bytes((0, 3, 0, 4, 1, 2, 3, 4)))) == [Reply(3, 0, b"\1\2\3\4")]


def test_a_flag_without_an_end_is_given_up() -> None:
    assert decode(b"\x7e" + bytes(200)) == (1, None)
    assert decode(b"\x7e" + bytes(100)) == (0, None)
