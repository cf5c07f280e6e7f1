"""The HPMA sensors: the manual's bytes via protocols.md section 6, refusals, and mix-ups."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from fakes import FakeClock, twin_wiring
from ventwright_drivers.emulated.hpma import Hpma115C0Twin, Hpma115S0Twin, _HpmaTwin
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.part import Sample
from ventwright_drivers.serial import link
from ventwright_drivers.serial.hpma import Hpma115C0, Hpma115S0, Reply, decode, request

# Manual, confirmed.
READ, START, STOP = "68 01 04 93", "68 01 01 96", "68 01 02 95"
QUIET, SPEAK = "68 01 20 77", "68 01 40 57"
ACK, NACK = "A5 A5", "96 96"
S0, S0_VALUES = "40 05 04 00 30 00 31 56", (48, 49)
C0, C0_VALUES = "40 0D 04 00 30 00 31 00 32 00 33 00 00 00 00 E9", (48, 49, 50, 51)
COEFFICIENT = "40 02 10 64 4A"
# Computed there.
S0_SENT = "42 4D 00 1C 00 00 00 30 00 31" + " 00" * 20 + " 01 0C"
C0_SENT = "42 4D 00 1C 00 30 00 31 00 32 00 33" + " 00" * 18 + " 01 71"

AIR = {"pm1": 48.0, "pm2_5": 49.0, "pm4": 50.0, "pm10": 51.0}
STARTED = [(QUIET, ACK), (START, ACK)]
KNOWN = [(Hpma115S0, S0, S0_VALUES), (Hpma115C0, C0, C0_VALUES)]


@pytest.mark.parametrize(
    ("code", "values", "frame"),
    [
        (0x04, (), READ),
        (0x01, (), START),
        (0x02, (), STOP),
        (0x08, (0x64,), "68 02 08 64 2A"),
        (0x10, (), "68 01 10 87"),
        (0x20, (), QUIET),
        (0x40, (), SPEAK),
    ],
)
def test_commands(code: int, values: tuple[int, ...], frame: str) -> None:
    assert request(code, *values) == bytes.fromhex(frame)


@pytest.mark.parametrize(("driver", "answer", "values"), KNOWN)
def test_start_and_read(driver: type, answer: str, values: tuple[int, ...]) -> None:
    with byte_pairs(driver, [*STARTED, (READ, answer), (READ, answer)]) as part:
        part.start()
        assert part.read() == Sample(values)
        assert part.read() == Sample(values)
        assert part.clock.now() == 0


@pytest.mark.parametrize("sent", [S0_SENT, C0_SENT, S0_SENT[30:], S0_SENT + C0_SENT[:30]])
def test_what_it_sends_unasked_is_passed_over(sent: str) -> None:
    pairs = [(None, sent), (QUIET, ACK + S0_SENT), (START, ACK), (READ, S0)]
    with byte_pairs(Hpma115S0, pairs) as part:
        part.start()
        assert part.read() == Sample(S0_VALUES)


def test_what_is_left_of_an_unasked_frame_does_not_swallow_the_next_reply() -> None:
    with byte_pairs(Hpma115S0, [(QUIET, ACK + S0_SENT[:30]), (START, ACK), (READ, S0)]) as part:
        part.start()
        assert part.read() == Sample(S0_VALUES)
        assert part.clock.now() == 0


def test_what_came_behind_the_acknowledgement_is_thrown_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(link, "_GULP", 2)  # so that the acknowledgement is read alone
    with byte_pairs(Hpma115S0, [(QUIET, ACK + NACK), (START, ACK)]) as part:
        part.start()


@pytest.mark.parametrize(("driver", "answer"), [(Hpma115S0, C0), (Hpma115C0, S0)])
def test_the_other_model_is_refused_and_named(driver: type, answer: str) -> None:
    with byte_pairs(driver, [*STARTED, (READ, answer)]) as part:
        part.start()
        with pytest.raises(Refused, match=f"another model than {driver.model}"):
            part.read()


def test_an_answer_about_something_else_is_refused() -> None:
    with byte_pairs(Hpma115S0, [*STARTED, (READ, COEFFICIENT)]) as part:
        part.start()
        with pytest.raises(Refused):
            part.read()


def test_a_refusal_is_told_with_its_command() -> None:
    with byte_pairs(Hpma115S0, [*STARTED, (READ, NACK)]) as part:
        part.start()
        with pytest.raises(Refused, match="/dev/pairs refused command 04"):
            part.read()
    with byte_pairs(Hpma115S0, [(QUIET, ACK), (START, NACK)]) as part, pytest.raises(Refused):
        part.start()


@pytest.mark.parametrize("broken", ["", "A5", "A5 96", S0[:-2] + "57", S0[:-3], "40 04" + S0[5:]])
def test_a_broken_answer_is_asked_for_again_and_then_no_answer(broken: str) -> None:
    pairs = [*STARTED, (READ, broken), (READ, broken), (READ, S0), *[(READ, broken)] * 3]
    with byte_pairs(Hpma115S0, pairs) as part:
        part.start()
        assert part.read() == Sample(S0_VALUES)
        assert part.clock.now() == 1000
        with pytest.raises(NoAnswer, match=r"for 0\.5 s"):
            part.read()


def test_a_late_acknowledgement_is_no_measurement() -> None:
    with byte_pairs(Hpma115S0, [(QUIET, ACK), (START, ACK), (READ, ACK + S0)]) as part:
        part.start()
        assert part.read() == Sample(S0_VALUES)


@pytest.mark.parametrize(
    ("frame", "reply"),
    [
        (ACK, (2, Reply(True))),
        (NACK, (2, Reply(False))),
        (COEFFICIENT, (5, Reply(True, b"\x10\x64"))),
        (S0_SENT, (32, None)),
        ("00 01 40", (2, None)),
        ("42 4D 00 14", (1, None)),
    ],
)
def test_replies(frame: str, reply: tuple[int, Reply | None]) -> None:
    assert decode(bytes.fromhex(frame)) == reply


def say(twin: _HpmaTwin, text: str, now: int = 0) -> bytes:
    twin.receive(bytes.fromhex(text), now)
    return twin.emit(now + 20)


def test_the_twins_answer_as_the_manual_does() -> None:
    twin = Hpma115S0Twin({"pm2_5": 48.0, "pm10": 49.0}.__getitem__)
    pairs = [
        (READ, S0),
        ("68 01 10 87", COEFFICIENT),
        ("68 02 08 1D 71", NACK),  # 29 is too small
        ("68 02 08 1E 70", ACK),
        ("68 01 04 94", NACK),  # wrong sum
        ("68 01 77 20", NACK),  # unknown
        (STOP, ACK),
        (READ, NACK),  # the fan stands
        (START, ACK),
        (READ, S0),
    ]
    for request_, reply in pairs:
        assert say(twin, request_) == bytes.fromhex(reply), request_
    assert twin.coefficient == 30
    assert say(Hpma115C0Twin(AIR.__getitem__), READ) == bytes.fromhex(C0)


def test_the_twins_speak_until_told_not_to() -> None:
    twin = Hpma115C0Twin(AIR.__getitem__)
    assert twin.due() == 0
    twin.emit(0)
    assert twin.emit(1000) == bytes.fromhex(C0_SENT)
    assert twin.due() == 2000
    assert say(twin, QUIET, 1100) == bytes.fromhex(ACK)
    assert twin.due() is None
    assert twin.emit(5000) == b""
    other = Hpma115S0Twin({"pm2_5": 48.0, "pm10": 49.0}.__getitem__)
    other.emit(0)
    assert other.emit(1000) == bytes.fromhex(S0_SENT)


def test_a_stopped_part_is_started() -> None:
    twin = Hpma115C0Twin(AIR.__getitem__)
    say(twin, STOP)
    driver = Hpma115C0
    with driver(driver.Options(port="/dev/twin"), twin_wiring(FakeClock(), twin)) as part:
        assert part.read() == Sample((48, 49, 50, 51))


def every(data: bytes) -> list[Reply]:
    found, used = [], 1
    while used and data:
        used, reply = decode(data)
        assert 0 <= used <= len(data)
        data = data[used:]
        found += [reply] if reply else []
    return found


heads = st.sampled_from([b"\x40", b"\x40\x05", b"\xa5", b"\x42\x4d\x00\x1c", b"\x96"])
garbage = st.lists(heads | st.binary(max_size=20), max_size=8).map(b"".join)


@given(garbage)
def test_no_bytes_raise_and_none_hide_what_is_behind_them_for_long(data: bytes) -> None:
    after = bytes.fromhex(S0) * 5  # as many as the longest false frame may swallow
    assert every(data + after)[-1] == Reply(True, bytes.fromhex(S0)[2:-1])


@given(st.binary(min_size=4, max_size=4), st.integers(1, 255))
def test_a_wrong_sum_is_never_a_measurement(body: bytes, error: int) -> None:
    frame = b"\x40\x05\x04" + body
    used, reply = decode(frame + bytes(((-sum(frame) + error) & 0xFF,)))
    assert used == 1
    assert reply is None
