"""Parts whose quantities depend on their options, and several devices at one I2C address."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ventwright.settings.load import load

ELEMENT = """\
[parts.gas]
model = "ads1115"
quantity = "co"
zero_mv = 400
mv_per_unit = 10
"""
OTHER = ELEMENT.replace("gas]", "solvent]").replace('"co"', '"tvoc"')

Write = Callable[[str], Path]
Complain = Callable[..., list[str]]


def test_the_options_choose_the_quantity(base: str, write: Write) -> None:
    alarm = '[alarms.co]\nchannel = "gas.co"\nsetpoint = 25\ndeadband = 5\n'
    assert load(write(base + ELEMENT + alarm), {}).parts["gas"].quantities == ("co",)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            ELEMENT + '[alarms.co]\nchannel = "gas.tvoc"\nsetpoint = 25\ndeadband = 5\n',
            ["alarms.co.channel", "channels here: gas.co"],
        ),
        (ELEMENT + 'quantities = ["hcho"]', ['names "hcho"', "ads1115 gives co"]),
        (
            ELEMENT.replace("zero_mv = 400\n", ""),
            ["parts.gas does not fit together", "co needs zero_mv"],
        ),
    ],
)
def test_what_the_options_do_not_choose_is_told(
    base: str, complain: Complain, text: str, told: list[str]
) -> None:
    (sentence,) = complain(base + text)
    assert all(words in sentence for words in told)


def test_a_broken_option_costs_one_sentence_and_no_more(base: str, complain: Complain) -> None:
    alarm = '[alarms.co]\nchannel = "gas.co"\nsetpoint = 25\ndeadband = 5\n'
    (sentence,) = complain(base + ELEMENT.replace("= 10", '= "ten"') + alarm)
    assert "mv_per_unit" in sentence


def test_inputs_of_one_converter_are_apart(base: str, complain: Complain) -> None:
    assert complain(base + ELEMENT + OTHER + "input = 1\n") == []
    (sentence,) = complain(base + ELEMENT + OTHER)
    assert "parts.solvent.address is the same address as that of parts.gas" in sentence


BOARD = '[relays.{}]\nmodel = "relay-mcp23008"\nchannel = {}\n'


def test_relays_of_one_i2c_board_are_apart_and_no_two_share_a_contact(
    base: str, complain: Complain
) -> None:
    assert complain(base + BOARD.format("one", 1) + BOARD.format("two", 2)) == []
    (sentence,) = complain(base + BOARD.format("one", 1) + BOARD.format("two", 1))
    assert "relays.two is the same contact as that of relays.one" in sentence
