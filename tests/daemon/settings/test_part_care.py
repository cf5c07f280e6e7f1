"""What an owner may say of a part besides its wires: humidity, and the calibration of channels."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ventwright.settings.load import load
from ventwright.settings.model import Calibration

Complain = Callable[..., list[str]]
Write = Callable[[str], Path]

PORT = 'port = "/dev/ttyUSB0"\n'
HUMIDITY = 'humidity = "climate.humidity"\n'


def with_lines(base: str, lines: str) -> str:
    return base.replace(PORT, PORT + lines)


def test_a_part_left_alone_is_taken_as_it_is(base: str, write: Write) -> None:
    part = load(write(base), {}).parts["bench"]
    assert (part.humidity, part.humidity_correction, part.kappa) == (None, False, 0.4)
    assert part.calibration == {}


def test_humidity_and_calibration_arrive(base: str, write: Write) -> None:
    lines = f"{HUMIDITY}humidity_correction = true\nkappa = 0.3\n"
    lines += "[parts.bench.calibration.pm2_5]\noffset = -0.8\nslope = 1.12\n"
    lines += "[parts.bench.calibration.pm10]\nslope = 2\n"
    part = load(write(with_lines(base, lines)), {}).parts["bench"]
    assert (part.humidity, part.humidity_correction, part.kappa) == ("climate.humidity", True, 0.3)
    assert part.calibration == {"pm2_5": Calibration(-0.8, 1.12), "pm10": Calibration(0, 2)}


def test_a_part_may_measure_its_own_humidity(base: str, write: Write) -> None:
    own = base.replace('"pms5003"\nport = "/dev/ttyUSB0"', '"sen55"\nhumidity = "bench.humidity"')
    assert load(write(own), {}).parts["bench"].humidity == "bench.humidity"


def test_the_environment_may_name_the_humidity(base: str, write: Write) -> None:
    environ = {"VENTWRIGHT_PARTS__BENCH__HUMIDITY": "climate.humidity"}
    assert load(write(base), environ).parts["bench"].humidity == "climate.humidity"


MISTAKES = {
    "no such channel": (
        'humidity = "climat.humidity"\n',
        'parts.bench.humidity is "climat.humidity" (config.toml, line 9): channels here: '
        "bench.pm1, bench.pm2_5, bench.pm10, bench.n0_3, bench.n0_5, bench.n1, bench.n2_5, "
        "bench.n5, bench.n10, climate.temperature or climate.humidity; "
        'is "climate.humidity" meant?',
    ),
    "no humidity": (
        'humidity = "climate.temperature"\n',
        'parts.bench.humidity is "climate.temperature" (config.toml, line 9): humidity channels '
        "here: climate.humidity.",
    ),
    "correction of nothing": (
        "humidity_correction = true\n",
        "parts.bench.humidity_correction is true (config.toml, line 9): humidity = "
        '"PART.humidity" is needed with it.',
    ),
    "kappa": (
        HUMIDITY + "kappa = 0\n",
        "parts.bench.kappa is 0 (config.toml, line 10): a number above 0 and of at most 2 is "
        "needed; 0.4 is usual for outdoor air.",
    ),
    "quantity that is not kept": (
        'quantities = ["pm2_5"]\n[parts.bench.calibration.pm10]\nslope = 1.1\n',
        "parts.bench.calibration.pm10 is not kept (config.toml, line 10): quantities kept here "
        "are pm2_5.",
    ),
    "slope": (
        "[parts.bench.calibration.pm2_5]\nslope = 0\n",
        "parts.bench.calibration.pm2_5.slope is 0 (config.toml, line 10): a number above 0 is "
        "needed; 1 leaves the values as they are.",
    ),
    "offset": (
        '[parts.bench.calibration.pm2_5]\noffset = "a"\n',
        'parts.bench.calibration.pm2_5.offset is "a" (config.toml, line 10): a number is needed; '
        "in the channel's unit.",
    ),
    "unknown key": (
        "[parts.bench.calibration.pm2_5]\nofset = 1\n",
        "parts.bench.calibration.pm2_5.ofset is not a key (config.toml, line 10): allowed are "
        'offset or slope; is "offset" meant?',
    ),
    "no table": (
        "calibration = 5\n",
        "parts.bench.calibration is 5 (config.toml, line 9): a table "
        "[parts.NAME.calibration.QUANTITY] is needed.",
    ),
    "no table of its own": (
        "[parts.bench.calibration]\noffset = 1\n",
        "parts.bench.calibration is a table (config.toml, line 9): a table "
        "[parts.NAME.calibration.QUANTITY] is needed.",
    ),
}


@pytest.mark.parametrize("kind", MISTAKES)
def test_one_mistake_gets_one_sentence(kind: str, base: str, complain: Complain) -> None:
    lines, sentence = MISTAKES[kind]
    assert complain(with_lines(base, lines)) == [sentence]


def test_humidity_is_of_no_use_to_a_part_that_is_not_optical(base: str, complain: Complain) -> None:
    found = complain(base.replace('"sht40"', '"sht40"\nhumidity = "climate.humidity"'))
    assert found == [
        "parts.climate.humidity is of no use (config.toml, line 11): only optical particle parts "
        "can have it."
    ]
