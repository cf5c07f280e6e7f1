"""Every key of an extractor, wrong once each, and the one sentence it gets."""

from collections.abc import Callable

import pytest

Complain = Callable[..., list[str]]

TIMES = 'two different times of day in quotes, such as "22:00-07:00", are needed.'
CHANNELS = (
    "channels here: bench.pm1, bench.pm2_5, bench.pm10, bench.n0_3, bench.n0_5, bench.n1, "
    "bench.n2_5, bench.n5, bench.n10, climate.temperature or climate.humidity."
)


def _length(least: str, most: str) -> str:
    span = f"from {least} to {most}"
    return f'a length of time in quotes {span}, such as "5 min" or "1 h 30 min", is needed.'


CASES = [
    ("blind_after = 60", "blind_after is 60", _length("10 s", "1 d")),
    ('blind_after = "0 s"', 'blind_after is "0 s"', _length("10 s", "1 d")),
    ('minimum_on = "soon"', 'minimum_on is "soon"', _length("0 ms", "1 d")),
    ('minimum_off = "-1 min"', 'minimum_off is "-1 min"', _length("0 ms", "1 d")),
    ("run_on = true", "run_on is true", _length("0 ms", "1 d")),
    ("longest_run = 3600", "longest_run is 3600", _length("1 min", "30 d")),
    ('longest_run = "400 d"', 'longest_run is "400 d"', _length("1 min", "30 d")),
    ('longest_run = "2 min"', 'longest_run is "2 min"', "more than minimum_on, 3 min, is needed."),
    (
        'minimum_on = "10 min"\nlongest_run = "10 min"',
        'longest_run is "10 min"',
        "more than minimum_on, 10 min, is needed.",
    ),
    ('after_longest_run = "stop"', 'after_longest_run is "stop"', '"go on" or "rest" is needed.'),
    (
        'after_longest_run = "rest"',
        'after_longest_run is "rest"',
        "longest_run is needed with it: without it it never rests.",
    ),
    ('rest = "0 s"', 'rest is "0 s"', _length("1 min", "1 d")),
    ("rest = 15", "rest is 15", _length("1 min", "1 d")),
    ('quiet_hours = "22-7"', 'quiet_hours is "22-7"', TIMES),
    ('quiet_hours = "22:00-22:00"', 'quiet_hours is "22:00-22:00"', TIMES),
    ('quiet_hours = "24:00-07:00"', 'quiet_hours is "24:00-07:00"', TIMES),
    ("quiet_hours = 22", "quiet_hours is 22", "text in quotes is needed."),
    (
        'quiet_priority = "urgent"',
        'quiet_priority is "urgent"',
        '"low", "medium" or "high" is needed.',
    ),
    (
        'turns = "bench.pm2_5"',
        'turns is "bench.pm2_5"',
        "the fan_speed of a tachometer, PART.fan_speed, is needed.",
    ),
    ('turns = "fan"', 'turns is "fan"', CHANNELS),
    ("turns = 5", "turns is 5", "text in quotes is needed."),
    ("slowest = 0", "slowest is 0", "a number above 0 in 1/min is needed."),
    ('slowest = "slow"', 'slowest is "slow"', "a number above 0 in 1/min is needed."),
]


@pytest.mark.parametrize(("wrong", "found", "allowed"), CASES)
def test_one_wrong_key_gets_one_sentence(
    wrong: str, found: str, allowed: str, base: str, complain: Complain
) -> None:
    text = base.replace('when_blind = "on"\n', f'when_blind = "on"\n{wrong}\n')
    line = 17 + wrong.count("\n")
    assert complain(text) == [f"extractors.hood.{found} (config.toml, line {line}): {allowed}"]
