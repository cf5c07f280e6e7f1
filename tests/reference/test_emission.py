"""Emission worked back from build-ups, decays and rooms with published answers; sources at each.

The readings are the closed forms of those cases, minute by minute, given to the same balance that
a test print goes through; the answers are emissions.md sections 2, 4 and 5.
"""

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from invoking import json_of, said_by
from ventwright.commands.trial import trial
from ventwright.mixing.curve import Points
from ventwright.mixing.fitting import fit
from ventwright.mixing.shapes import SHAPES
from ventwright.trials.balance import Rate, balance
from ventwright.trials.elsewhere import _course
from ventwright.trials.figures import RatePoint
from ventwright.trials.series import Minute, Series, Span


def recorded(
    level: Callable[[float], float], prints: float, decay: float, background: float = 0.5
) -> Series:
    """Give the minutes of a level over hours since the source began; 0 before it."""
    count = round(60 * (background + prints + decay))
    minutes = []
    for n in range(count):
        begins = n / 60
        inner = [begins + (k + 0.5) / 1200 - background for k in range(20)]
        mean = math.fsum(level(t) if t > 0 else 0.0 for t in inner) / 20
        minutes.append(Minute(begins, begins + 1 / 60, mean))
    ends = background + prints
    spans = Span(0, background), Span(background, ends), Span(ends, ends + decay)
    return Series(minutes, *spans, 0.0)


def build_up(emission: float, volume: float, rate: float, hours: float) -> Callable[[float], float]:
    """Give the level of a steady source that stops after so many hours."""
    steady = emission / volume / rate

    def level(t: float) -> float:
        risen = steady * -math.expm1(-rate * min(t, hours))
        return risen * math.exp(-rate * max(0.0, t - hours))

    return level


def recovered(found: Series, volume: float, known: float | None = None) -> float:
    rates = {} if known is None else {False: Rate(known, 0.0, 0.0, "given")}
    return volume * balance(found, 0.0, rates, known is None).emitted


def test_heater_test() -> None:
    """emissions.md 4: 46.0 m³, 0.25 /h, CO 20 mg/m³ after 2 h: 584.5 mg/h (from memory)."""
    emission = 20 * 46.0 * 0.25 / -math.expm1(-0.25 * 2)
    assert emission == pytest.approx(584.5, abs=0.05)
    found = recorded(build_up(emission, 46.0, 0.25, 2), 2, 4)
    assert max(m.mean for m in found.minutes) == pytest.approx(20, abs=0.1)
    assert recovered(found, 46.0) / 2 == pytest.approx(584.5, rel=2e-3)
    assert recovered(found, 46.0, 0.25) / 2 == pytest.approx(584.5, rel=2e-3)


def test_the_heater_in_the_home_that_it_predicts() -> None:
    """The same: 584.5 mg/h in 120 m³ at 0.4 /h ends at 12.18 mg/m³."""
    points = [RatePoint(n * 300_000, 300_000, 584.5, 0, 0) for n in range(12 * 48)]
    peak, _ = _course(584.5 * 48, points, (0, 48 * 3_600_000), 120.0, 0.4)
    assert peak == pytest.approx(12.18, abs=5e-3)


def test_carbon_monoxide_heater_and_its_decay() -> None:
    """emissions.md 4: 1.0 g/h, 50 m³, 1 /h: 20 mg/m³, 7.358 an hour after shut-off (derived)."""
    level = build_up(1000.0, 50.0, 1.0, 12)
    assert level(12) == pytest.approx(20, abs=2e-4)
    assert level(13) == pytest.approx(7.358, abs=5e-4)
    assert recovered(recorded(level, 12, 3), 50.0) / 12 == pytest.approx(1000, rel=2e-3)


@pytest.mark.parametrize(("emission", "steady"), [(113.0, 150.7), (183.0, 244.0)])
def test_small_office(emission: float, steady: float) -> None:
    """emissions.md 2: 45 m³, 1 /h, styrene 113 µg/min -> 150.7, caprolactam 183 -> 244.0 µg/m³.

    The maxima are from memory there, the arithmetic is derived. One rate of 60 min an hour.
    """
    points = [RatePoint(n * 300_000, 300_000, 60 * emission, 0, 0) for n in range(12 * 24)]
    peak, _ = _course(60 * emission * 24, points, (0, 24 * 3_600_000), 45.0, 1.0)
    assert peak == pytest.approx(steady, abs=0.06)
    found = recorded(build_up(60 * emission, 45.0, 1.0, 6), 6, 3)
    assert recovered(found, 45.0) / 6 == pytest.approx(60 * emission, rel=2e-3)


def test_acgih_build_up() -> None:
    """emissions.md 4: 1.2 cfm, 2000 cfm, 100 000 ft³: 419.3 ppm at 60 min (from memory)."""
    rate, volume = 2000 * 60 / 100_000, 100_000.0
    level = build_up(1.2 * 60 * 1e6, volume, rate, 1.0)
    assert level(20.27 / 60) == pytest.approx(200, abs=0.05)
    assert level(1.0) == pytest.approx(419.3, abs=0.05)
    assert recovered(recorded(level, 1, 2), volume) == pytest.approx(1.2 * 60 * 1e6, rel=2e-3)


def test_smoking_room_with_a_loss_besides_the_air() -> None:
    """emissions.md 4: 81 mg/h, 576 m³, 0.40 /h and 800 m³/h: 0.07861 mg/m³ (derived)."""
    rate = 0.40 + 800 / 576
    level = build_up(81.0, 576.0, rate, 8)
    assert level(8) == pytest.approx(0.07861, abs=5e-6)
    assert recovered(recorded(level, 8, 3), 576.0) / 8 == pytest.approx(81, rel=2e-3)


def test_sealed_room_fills_in_a_straight_line() -> None:
    """emissions.md 4: 2.3 g/h HCHO, 750 m³, no ventilation, 3 h: 9.2 mg/m³ (derived)."""
    found = recorded(lambda t: 9.2 * min(t, 3) / 3, 3, 1)
    assert recovered(found, 750.0, 1e-9) == pytest.approx(3 * 2300, rel=2e-3)


MISRA1A = (
    (77.6, 10.07), (114.9, 14.73), (141.1, 17.94), (190.8, 23.93), (239.9, 29.61),
    (289.0, 35.18), (332.8, 40.02), (378.4, 44.82), (434.8, 50.76), (477.3, 55.05),
    (536.8, 61.01), (593.1, 66.40), (689.1, 75.47), (760.0, 81.78),
)  # fmt: skip


def test_misra1a_as_a_source() -> None:
    """NIST StRD Misra1a (certified): b1 (1 - exp(-b2 x)) is the build-up of E/V = b1·b2.

    Recovered from its own points, and by the balance from the certified curve.
    """
    b1, b2 = 238.94212918, 5.5015643181e-4
    times, levels = zip(*MISRA1A, strict=True)
    found = fit(SHAPES["build-up"], Points(times, levels, [1.0] * 14), 0.0)
    assert found.amplitudes[0] * found.rates[0] == pytest.approx(b1 * b2, rel=1e-8)
    hours = 2000.0  # long enough to see it; a minute of the balance is then 200 of its units
    scale = hours / 10

    def level(t: float) -> float:
        x = t * scale
        risen = b1 * -math.expm1(-b2 * min(x, hours))
        return risen * math.exp(-b2 * max(0.0, x - hours))

    emitted = recovered(recorded(level, 10, 10), 1.0)
    assert emitted / 10 == pytest.approx(b1 * b2 * scale, rel=2e-3)


def test_epa_small_room() -> None:
    """emissions.md 1, Potter: an unventilated room holds yield times mass over volume."""
    peak, _ = _course(20 * 100.0, [], (0, 3_600_000), 30.0, 1e-9)
    assert peak == pytest.approx(20 * 100.0 / 30, rel=1e-6)


def test_misra1a_through_the_command(tmp_path: Path) -> None:
    """NIST StRD Misra1a (certified): b1 and b2, standard deviations too, and E/V = b1·b2."""
    file = tmp_path / "misra.csv"
    file.write_text("t,c\n" + "".join(f"{x},{y}\n" for x, y in MISRA1A))
    found = json_of(trial, "table", str(file), "--volume", "1", "--time-unit", "h", "--json")
    assert found["steady rise"] == pytest.approx(238.94212918, rel=1e-7)
    assert found["loss rate (1/h)"]["value"] == pytest.approx(5.5015643181e-4, rel=1e-7)
    assert found["loss rate (1/h)"]["standard"] == pytest.approx(7.2668688436e-6, rel=1e-6)
    rate = found["emitted an hour"]["value"]
    assert rate == pytest.approx(238.94212918 * 5.5015643181e-4, rel=1e-7)


BOD = ((1, 8.3), (2, 10.3), (3, 19.0), (4, 16.0), (5, 15.6), (7, 19.8))


def test_bod_as_a_source(tmp_path: Path) -> None:
    """R datasets BOD: A 19.143 (2.496), k .5311 (emissions.md 5.5: from memory, fit agrees)."""
    file = tmp_path / "bod.csv"
    file.write_text("".join(f"{x};{y}\n" for x, y in BOD))
    found = json_of(trial, "table", str(file), "--volume", "2", "--time-unit", "h", "--json")
    assert found["steady rise"] == pytest.approx(19.143, abs=5e-4)
    assert found["loss rate (1/h)"]["value"] == pytest.approx(0.5311, abs=5e-5)
    assert found["emitted an hour"]["value"] == pytest.approx(2 * 19.143 * 0.5311, rel=1e-4)


def test_a_whole_print_from_a_file(tmp_path: Path) -> None:
    """The heater test of section 4 again, as a file of a level a minute."""
    level = build_up(584.5, 46.0, 0.25, 2)
    rows = [f"{n},{level(n / 60 - 0.5) if n > 30 else 0.0}\n" for n in range(60 * 6)]
    file = tmp_path / "heater.csv"
    file.write_text("".join(rows))
    words = ("--volume", "46", "--print-from", "30", "--print-to", "150", "--grams", "10")
    found = json_of(trial, "table", str(file), *words, "--json")
    assert found["emitted an hour"]["value"] == pytest.approx(584.5, rel=2e-3)
    assert found["per gram"]["value"] == pytest.approx(116.9, rel=2e-3)
    assert found["loss rate (1/h)"]["value"] == pytest.approx(0.25, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "words", "says"),
    [
        ("1,2\n", (), "holds 1 points"),
        ("1,2\n3,x\n", (), "line 2: x is no concentration"),
        ("1,2\n2,<5\n", (), "line 2: <5 is no concentration"),
        ("1,2\n2,3\n2,4\n3,4\n", (), "holds the time 2 twice"),
        ("1,2\n2,3\n3,4\n4,1e300\n", (), "line 4: no number within 1e+30"),
        ("1,2\n2,3\n3,4\n4,5\n", ("--print-from", "1"), "belong together"),
        ("1,2\n2,3\n3,4\n4,5\n", ("--print-from", "3", "--print-to", "9"), "within the times"),
        ("1,2\n2,3\n3,4\n4,5\n", ("--print-from", "2", "--print-to", "3"), "no point lies within"),
        ("1,2\n2,3\n3,4\n4,5\n", ("--print-from", "1", "--print-to", "3"), "--background"),
    ],
)
def test_a_wrong_file_is_told(tmp_path: Path, text: str, words: tuple[str, ...], says: str) -> None:
    file = tmp_path / "levels.csv"
    file.write_text(text)
    said = said_by(trial, "table", str(file), "--volume", "1", *words, status=1)
    assert says in said.replace("\n", " ")


def sparse(folder: Path, every: float, mark: str = ",") -> str:
    """Write a chamber of 1 m³ and 3 /h: a point every few minutes, 5 µg/m³, then 5000 µg/h."""
    level = build_up(5000.0, 1.0, 3.0, 1.0)
    file = folder / "chamber.csv"
    points = [n * every for n in range(int(140 / every) + 1)]
    rows = [f"{t:g}{mark}{5 + level(max(0.0, t / 60 - 1 / 3)):.7g}" for t in points]
    text = "\n".join([f"minutes{mark}µg/m³", "# taken by hand", "", *rows])
    if mark != ",":
        text = text.replace(".", ",")
    file.write_text("\ufeff" + text.replace("\n", "\r\n"))
    return str(file)


CHAMBER = ("--volume", "1", "--print-from", "20", "--print-to", "80", "--json")


@pytest.mark.parametrize(("every", "mark"), [(2, ","), (5, ";"), (10, "\t")])
@pytest.mark.parametrize("known", [(), ("--loss-rate", "3"), ("--background", "5")])
def test_few_points_suffice_and_the_interval_tells_what_they_are_worth(
    tmp_path: Path, every: float, mark: str, known: tuple[str, ...]
) -> None:
    """Known emission; fewer than 20 points of decay were refused, and decimal commas too."""
    found = json_of(trial, "table", sparse(tmp_path, every, mark), *CHAMBER, *known)
    assert found["emitted in all"]["value"] == pytest.approx(5000, rel=5e-3)
    assert found["loss rate (1/h)"]["value"] == pytest.approx(3, rel=5e-3)
    by_hand = known[:1] == ("--loss-rate",)
    assert found["loss rate (1/h)"]["why"] == ("given by hand" if by_hand else "its own decay")


def test_amounts_are_named_by_the_unit_of_the_levels(tmp_path: Path) -> None:
    """A particle a cm³ is a million a m³."""
    found = json_of(trial, "table", sparse(tmp_path, 5), *CHAMBER, "--level-unit", "1/cm³")
    assert found["emitted in all"]["unit"] == "million particles"
    assert found["emitted an hour"]["unit"] == "million particles/h"


def test_a_print_from_the_first_point_needs_its_background(tmp_path: Path) -> None:
    """Build-up of 600 /h at 2 /h in 1 m³ without a decay: the rate is given, the first point 5."""
    level = build_up(600.0, 1.0, 2.0, 2.0)
    file = tmp_path / "up.csv"
    file.write_text("".join(f"{t},{5 + level(t / 60)}\n" for t in range(2, 62, 2)))
    words = ("--volume", "1", "--print-from", "0", "--print-to", "60", "--background", "5")
    found = json_of(trial, "table", str(file), *words, "--loss-rate", "2", "--json")
    assert found["emitted in all"]["value"] == pytest.approx(600, rel=5e-3)


def test_a_build_up_takes_the_loss_rate_that_is_given(tmp_path: Path) -> None:
    """It was passed over in silence; R BOD with k fixed against numpy's least squares."""
    import numpy as np

    file = tmp_path / "bod.csv"
    file.write_text("".join(f"{x},{y}\n" for x, y in BOD))
    words = ("--volume", "2", "--time-unit", "h", "--loss-rate", "0.6", "--json")
    found = json_of(trial, "table", str(file), *words)
    times, levels = np.array(BOD).T
    shape = (1 - np.exp(-0.6 * times)) / 0.6
    (slope,), (squares,), *_ = np.linalg.lstsq(shape[:, None], levels, rcond=None)
    assert found["emitted an hour"]["value"] == pytest.approx(2 * slope)
    standard = math.sqrt(squares / 5 / (shape @ shape))
    assert found["emitted an hour"]["standard"] == pytest.approx(2 * standard)
    assert found["loss rate (1/h)"]["value"] == 0.6
    wider = json_of(trial, "table", str(file), *words, "--loss-rate-error", "0.1")
    assert wider["emitted an hour"]["standard"] > found["emitted an hour"]["standard"]
