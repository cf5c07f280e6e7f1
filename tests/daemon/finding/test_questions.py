"""What is sent to unknown devices: proved harmless byte by byte, before any board is asked."""

import pytest

from ventwright.finding.questions import COILS, QUESTIONS
from ventwright_drivers.checksums import crc16_modbus
from ventwright_drivers.relay import a0

ALL = b"".join(question.sent for question in QUESTIONS)
SENT = [question.sent for question in QUESTIONS]
FAST = [question.sent for question in QUESTIONS if question.baud != 9600]


def test_no_question_holds_a_byte_that_begins_an_a0_frame_or_ends_a_line() -> None:
    assert not set(ALL) & {0xA0, 0x0A, 0x0D}


def test_no_a0_command_is_within_the_questions_whatever_came_before() -> None:
    commands = [a0.encode(channel, op) for channel in range(1, 9) for op in range(7)]
    for before in range(256):
        heard = bytes((before,)) + ALL
        assert not any(heard.startswith(command) or command in ALL for command in commands)


def windows(data: bytes) -> list[bytes]:
    sizes = range(4, len(data) + 1)
    return [data[i : i + size] for size in sizes for i in range(len(data) - size + 1)]


def test_the_only_modbus_frame_within_the_questions_reads_coils() -> None:
    valid = {window for window in windows(ALL) if crc16_modbus(window) == 0}
    assert valid == {COILS}
    assert COILS[1] == 0x01
    assert COILS[0] != 0  # nor is it for all boards


@pytest.mark.parametrize("before", range(256))
def test_a_stray_byte_before_a_question_makes_no_modbus_frame_that_writes(before: int) -> None:
    for sent in SENT:
        for start in range(len(sent)):
            frame = bytes((before,)) + sent[start:]
            reads_or_undefined = frame[1] in (0x01, 0x04) or frame[1] >= 0x80
            assert crc16_modbus(frame) != 0 or reads_or_undefined


def test_the_fast_question_is_one_character_at_most_to_a_slow_board() -> None:
    assert len(FAST) == 1
    seconds = len(FAST[0]) * 10 / 115_200
    assert seconds < 10 / 9600


def test_the_questions_are_those_that_only_read() -> None:
    """Written out by hand from protocols.md, so that no change of a constant goes unseen."""
    assert [sent.hex(" ").upper() for sent in SENT] == [
        "FF 01 86 00 00 00 00 00 79",  # section 7: read
        "42 4D E2 00 00 01 71",  # section 2: read once, in passive mode
        "68 01 04 93",  # section 6: read
        "AA B4 04 00 00 00 00 00 00 00 00 00 00 00 00 FF FF 02 AB",  # section 3: query data
        "01 01 00 00 00 01 FD CA",  # section 11: function 01; its CRC is the standard's
        "7E 00 D0 01 00 2E 7E",  # section 4: product type
    ]
