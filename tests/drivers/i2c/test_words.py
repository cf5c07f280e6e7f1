import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.words import celsius, command, pack, signed, unpack

WORDS = st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=20)


def test_a_command_carries_no_crc_but_its_words_do():
    # protocols.md section 14: 2427 with 1950 m
    assert command(0x2427, 1950).hex(" ") == "24 27 07 9e 09"
    assert command(0x21B1).hex(" ") == "21 b1"


@given(WORDS)
def test_words_survive_the_wire(words):
    assert unpack(pack(*words), 0x44) == tuple(words)


@given(WORDS, st.data())
def test_any_one_byte_changed_is_noticed_and_the_address_named(words, data):
    wire = bytearray(pack(*words))
    place = data.draw(st.integers(0, len(wire) - 1))
    wire[place] ^= data.draw(st.integers(1, 255))
    with pytest.raises(NoAnswer, match="0x44 sent garbage"):
        unpack(bytes(wire), 0x44)


@pytest.mark.parametrize("cut", ["be", "be ef", "be ef 92 00", "be ef 92 00 00"])
def test_a_cut_reply_is_garbage(cut):
    with pytest.raises(NoAnswer):
        unpack(bytes.fromhex(cut), 0x44)


def test_a_line_stuck_high_or_low_is_garbage():
    for stuck in (b"\xff" * 3, b"\x00" * 3):
        with pytest.raises(NoAnswer):
            unpack(stuck, 0x44)


@pytest.mark.parametrize(
    ("word", "value"), [(0, 0), (1, 1), (0x7FFF, 32767), (0x8000, -32768), (0xFC18, -1000)]
)
def test_signed_words(word, value):
    assert signed(word) == value


@pytest.mark.parametrize(
    ("word", "value"), [(0, -45), (0x6667, 25.0), (0x3333, -10), (0xFFFF, 130)]
)
def test_temperatures(word, value):
    assert celsius(word) == pytest.approx(value, abs=0.003)
