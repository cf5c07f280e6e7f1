"""Alarms whose setpoint names a limit, and what each comparison leaves out."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ventwright.settings.load import load
from ventwright.settings.model import HOUR, MINUTE, Alarm, SameAir, Urgency

Complain = Callable[..., list[str]]
Write = Callable[[str], Path]
SETPOINT = "setpoint = 25\ndeadband = 5\n"
OTHER = "[alarms.other]\nchannel = 'bench.pm10'\nsetpoint = 50\ndeadband = 5\n"


def alarm(write: Write, base: str, table: str, **environ: str) -> Alarm:
    return load(write(base.replace(SETPOINT, table) + OTHER), environ).alarms["fast"]


def test_a_setpoint_that_names_a_limit_takes_its_value_and_averaging_time(
    write: Write, base: str
) -> None:
    found = alarm(write, base, 'setpoint = "who-pm2_5-24h"\ndeadband = 2\n')
    assert (found.setpoint, found.over, found.compare) == (15, 24 * HOUR, "mean")
    assert found.limit == "who-pm2_5-24h"


def test_what_the_table_says_itself_goes_above_what_the_limit_says(write: Write, base: str) -> None:
    table = 'setpoint = "who-pm2_5-24h"\ndeadband = 2\nover = "8 h"\ncompare = "forecast"\n'
    found = alarm(write, base, table)
    assert (found.setpoint, found.over, found.compare) == (15, 8 * HOUR, "forecast")


def test_a_setpoint_from_the_environment_may_be_a_number_or_a_limit(
    write: Write, base: str
) -> None:
    name = "VENTWRIGHT_ALARMS__FAST__SETPOINT"
    assert alarm(write, base, SETPOINT, **{name: "30"}).setpoint == 30
    assert alarm(write, base, SETPOINT, **{name: "who-pm2_5-24h"}).setpoint == 15


def test_a_silence_needs_only_how_long(write: Write, base: str) -> None:
    found = alarm(write, base, 'compare = "silence"\nover = "30 min"\n')
    assert (found.over, found.setpoint, found.deadband) == (30 * MINUTE, 30, 0)
    assert (found.on_delay, found.extract) == (0, False)


MISTAKES = {
    "unknown limit": (
        'setpoint = "who-pm25-24h"\ndeadband = 2\n',
        'alarms.fast.setpoint is "who-pm25-24h" (config.toml, line 19): a number in µg/m³, or the '
        "name of a limit: ",
        'is needed; is "who-pm2_5-24h" meant?',
    ),
    "limit of something else": (
        'setpoint = "who-pm10-24h"\ndeadband = 2\n',
        'alarms.fast.setpoint is "who-pm10-24h" (config.toml, line 19): a number in µg/m³, or the ',
        'is needed; is "who-pm2_5-24h" meant?',
    ),
    "limit for a year": (
        'setpoint = "who-pm2_5-year"\ndeadband = 2\n',
        'alarms.fast.setpoint is "who-pm2_5-year" (config.toml, line 19): an `over` of its own, or '
        "a limit for at most 7 d, is needed; this one is for year.",
        "",
    ),
    "limit for a rate": (
        'setpoint = "who-pm2_5-24h"\ndeadband = 2\ncompare = "rate"\n',
        'alarms.fast.setpoint is "who-pm2_5-24h" (config.toml, line 19): a number in µg/m³ per '
        "minute is needed; no limit is for a rate; ",
        'for one, compare "mean" or "forecast".',
    ),
    "limit for a rise, which leaves out what was there before": (
        'setpoint = "who-pm2_5-24h"\ndeadband = 2\ncompare = "rise"\n',
        'alarms.fast.setpoint is "who-pm2_5-24h" (config.toml, line 19): a number in µg/m³ is '
        "needed; no limit is for a rise; ",
        'for one, compare "mean" or "forecast".',
    ),
    "limit for an emission": (
        'setpoint = "who-pm2_5-24h"\ndeadband = 2\ncompare = "emission"\n',
        'alarms.fast.setpoint is "who-pm2_5-24h" (config.toml, line 19): a number in µg/h is '
        "needed; no limit is for an emission; ",
        'for one, compare "mean" or "forecast".',
    ),
    "setpoint of a silence": (
        'setpoint = 3\ncompare = "silence"\n',
        "alarms.fast.setpoint has no meaning here (config.toml, line 19): an alarm with compare = "
        '"silence" does without it: `over` is its setpoint.',
        "",
    ),
    "silence without end": (
        'compare = "silence"\nover = "soon"\n',
        'alarms.fast.over is "soon" (config.toml, line 20): a length of time in quotes',
        "",
    ),
    "unknown comparison": (
        SETPOINT + 'compare = "slope"\n',
        'alarms.fast.compare is "slope" (config.toml, line 21): "mean", "rise", "rate", '
        '"forecast", "departure", "emission" or "silence" is needed.',
        "",
    ),
    "deadband beyond a limit": (
        'setpoint = "who-pm2_5-24h"\ndeadband = 20\n',
        "alarms.fast.deadband is 20 (config.toml, line 20): a number below the setpoint (15",
        "",
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_every_mistake_is_one_sentence(mistake: str, complain: Complain, base: str) -> None:
    table, begin, end = MISTAKES[mistake]
    (sentence,) = complain(base.replace(SETPOINT, table) + OTHER)
    assert sentence.startswith(begin), sentence
    assert sentence.endswith(end), sentence


def test_an_unknown_channel_is_told_once_whatever_the_setpoint_names(
    complain: Complain, base: str
) -> None:
    wrong = base.replace(SETPOINT, 'setpoint = "who-pm2_5-24h"\ndeadband = 2\n')
    (sentence,) = complain(wrong.replace('"bench.pm2_5"', '"bench.dust"'))
    assert sentence.startswith('alarms.fast.channel is "bench.dust"')


SHELF = '[parts.shelf]\nmodel = "pms5003"\nport = "/dev/ttyUSB7"\n[same_air.dust]\ntolerance = 5\n'
SAME_AIR = {
    "one channel": ('["bench.pm2_5"]', "two channels, of two parts, are needed."),
    "one part": ('["bench.pm2_5", "bench.pm10"]', "two channels, of two parts, are needed."),
    "two quantities": (
        '["bench.pm2_5", "shelf.pm10"]',
        "two channels of the same quantity are needed.",
    ),
    "no such channel": ('["bench.pm2_5", "shelf.co2"]', 'is "shelf.pm1" meant?'),
    "in another pair": (
        '["bench.pm2_5", "shelf.pm2_5"]\n[same_air.more]\ntolerance = 1\n'
        'channels = ["bench.pm2_5", "shelf.pm2_5"]',
        "channels of no other pair are needed; same_air.dust has bench.pm2_5.",
    ),
}


def test_a_pair_in_the_same_air(write: Write, base: str) -> None:
    text = base + SHELF + 'channels = ["bench.pm2_5", "shelf.pm2_5"]\n'
    found = load(write(text), {}).same_air["dust"]
    assert found == SameAir(("bench.pm2_5", "shelf.pm2_5"), 5, 0.3)


@pytest.mark.parametrize("mistake", SAME_AIR)
def test_a_mistake_in_a_pair_is_one_sentence(mistake: str, complain: Complain, base: str) -> None:
    channels, end = SAME_AIR[mistake]
    (sentence,) = complain(base + SHELF + f"channels = {channels}\n")
    assert sentence.startswith("same_air.")
    assert sentence.endswith(end) or mistake == "no such channel", sentence


def test_raw_signals_are_no_pair_for_the_higher_one_would_be_the_cleaner(
    complain: Complain, base: str
) -> None:
    gas = '[parts.gas]\nmodel = "sgp40"\n[parts.smell]\nmodel = "sgp40"\nbus = 3\n'
    pair = '[same_air.gas]\nchannels = ["gas.voc_raw", "smell.voc_raw"]\ntolerance = 5\n'
    (sentence,) = complain(base + gas + pair)
    assert (
        "channels of a concentration are needed; raw signals of two elements are never" in sentence
    )


PRIORITIES = {
    "quiet hours": (
        'quiet = "late"\n',
        'phone.quiet is "late" (config.toml, line 26): two different times of day in quotes, such '
        'as "22:00-07:00", are needed.',
    ),
    "unknown priority": (
        '[priorities.urgent]\nrepeat_every = "5 min"\n',
        "priorities.urgent is not a key (config.toml, line 26): allowed are high, low or medium.",
    ),
    "repeats too often": (
        '[priorities.high]\nrepeat_every = "5 s"\n',
        'priorities.high.repeat_every is "5 s" (config.toml, line 27): a length of time in quotes '
        'from 1 min to 7 d, such as "5 min" or "1 h 30 min", is needed.',
    ),
}


@pytest.mark.parametrize("mistake", PRIORITIES)
def test_a_mistake_in_priorities_is_one_sentence(
    mistake: str, complain: Complain, base: str
) -> None:
    text, wanted = PRIORITIES[mistake]
    assert complain(base + text) == [wanted]


def test_how_priorities_are_told(write: Write, base: str) -> None:
    text = base + 'quiet = "22:00-07:00"\n[priorities.high]\nto = ["ada"]\n'
    found = load(write(text), {})
    assert found.phone is not None
    assert found.phone.quiet == "22:00-07:00"
    assert found.urgency("high") == Urgency(None, "tell", ("ada",))
    assert found.urgency("low") == Urgency(None, "wait", ())
