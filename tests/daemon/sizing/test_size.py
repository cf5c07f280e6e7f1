"""`ventwright size`: figures against published scenarios, and every way to ask wrongly.

Formulas themselves: tests/reference/test_zone.py.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ventwright.commands import size as command
from ventwright.commands.size import size
from ventwright.sizing.outcome import course, filters, need, variants
from ventwright.sizing.task import Range, Task
from walked import Simulated


def run(*words: str) -> Result:
    return CliRunner().invoke(size, words)


def told(*words: str) -> Any:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


OFFICE = ("--volume", "45", "--loss", "1", "--material", "nylon", "--quantity", "caprolactam")


def test_the_small_office() -> None:
    """ES&T 50:1260 (2016): 180 µg/min in 45 m³ at 1 /h is 240 µg/m³ (derived); to keep the
    8-hour level of 7 µg/m³ (from memory) 34.3 changes an hour are needed, one of them its own."""
    answer = told(*OFFICE, "--limit", "7")
    assert answer["cases"]["as it is"]["steady"]["high"] == pytest.approx(240, abs=0.05)
    assert answer["needed"]["total"]["high"] == pytest.approx(180 * 60 / 7)
    assert answer["needed"]["changes"]["high"] == pytest.approx(240 / 7 - 1)
    assert answer["level_unit"] == "µg/m³"


def test_a_vapour_passes_a_particle_filter() -> None:
    said = run(*OFFICE, "--filter-flow", "200", "--filter", "H13").output
    assert "A particle filter takes no vapour" in said
    assert "a third at best" in said
    answer = told(*OFFICE, "--filter-flow", "200")
    assert answer["cases"]["as it is"]["steady"]["high"] == pytest.approx(240, abs=0.05)
    by_hand = ("--volume", "45", "--emission", "5000", "--filter-flow", "200")
    assert told(*by_hand, "--vapour")["cases"]["as it is"]["clean_air"] == 0
    assert told(*by_hand)["cases"]["as it is"]["clean_air"] == pytest.approx(199)


def test_counted_particles_are_told_in_their_unit() -> None:
    """emissions.md section 2: 1e11 a minute in 45 m³ at 1 /h: 1.333e5 /cm³ (derived)."""
    words = ("--volume", "45", "--loss", "1", "--emission", "1e11", "--unit", "1/min")
    answer = told(*words, "--limit", "13333.33")
    assert answer["level_unit"] == "1/cm³"
    assert answer["cases"]["as it is"]["steady"]["high"] == pytest.approx(1.333e5, rel=1e-3)
    assert answer["needed"]["total"]["high"] == pytest.approx(450, rel=1e-3)


def test_a_range_by_hand_and_a_limit_by_name() -> None:
    answer = told("--volume", "45", "--emission", "600-2500", "--limit", "who-pm2_5-24h")
    assert answer["emission"] == {"low": 600, "high": 2500, "unit": "µg/h"}
    assert answer["limit"]["value"] == 15
    assert "WHO 2021" in answer["limit"]["says"]
    assert "rise of 15 µg/m³" in run("--volume", "45", "--emission", "600", "--limit", "15").output


def test_in_words_a_maker_reads_what_to_do() -> None:
    said = run("--volume", "45", "--emission", "3200", "--limit", "15", "--exhaust", "200").output
    assert "from one printer" in said
    assert "wait before going in: none, the limit is kept" in said
    assert "191 m³/h of clean air beside the room's own 22.5 m³/h" in said
    assert "well mixed" in said
    assert "licensed people and local codes" in said
    assert "ultrafine" not in said or "finer than optical" in said


TASK = Task(45, 0.5, Range(3200, 3200), "µg", limit=15, hours=2, exhaust=100)


def test_what_changes_with_one_thing_changed() -> None:
    cases = {name: course(one) for name, one in variants(TASK).items()}
    plain = cases["as it is"]
    assert cases["one printer more"].steady.low == pytest.approx(2 * plain.steady.low)
    twice = cases["a room twice as large"]
    assert plain.steady.low / 2 < twice.steady.low < plain.steady.low
    assert cases["without extraction"].clean_air == 0
    assert cases["without extraction"].wait is not None
    assert cases["without extraction"].wait.low > 3


def test_the_air_that_is_needed_keeps_the_limit() -> None:
    wanted = need(TASK)
    assert wanted is not None
    kept = course(TASK._replace(exhaust=wanted.beside.high))
    assert kept.steady.high == pytest.approx(15)
    poor = need(TASK._replace(mixing=3))
    assert poor is not None
    assert poor.total.high == pytest.approx(3 * wanted.total.high)
    assert course(TASK._replace(mixing=3, exhaust=poor.beside.high)).steady.high == pytest.approx(
        15
    )
    slow, well = course(TASK._replace(mixing=3)).left, course(TASK).left
    assert slow == {name: pytest.approx(3 * hours) for name, hours in well.items()}


def test_a_class_of_filter_counts_less_than_its_flow() -> None:
    found = {one.name: one for one in filters(TASK._replace(filter_flow=250))}
    assert found["E12"].clean_air == pytest.approx(248.75)
    assert found["H14"].clean_air == pytest.approx(250, abs=0.1)
    flows = [one.flow for one in found.values() if one.flow]
    assert flows[0].high / flows[-1].high == pytest.approx(1 / 0.85, rel=1e-3)


def test_an_enclosure_that_is_exhausted_keeps_most_out() -> None:
    """Indoor Air 31:1061 (2021): enclosure and local exhaust 96 % (confirmed)."""
    shut = course(TASK._replace(captured=0.96))
    assert shut.steady.high == pytest.approx(0.04 * course(TASK).steady.high)


@pytest.mark.parametrize(
    ("changes", "hundredth", "thousandth"),
    [("2", 138, 207), ("4", 69, 104), ("6", 46, 69), ("8", 35, 52), ("10", 28, 41), ("12", 23, 35),
     ("15", 18, 28), ("20", 14, 21), ("50", 6, 8)],
)  # fmt: skip
def test_the_purge_times_of_a_room(changes: str, hundredth: int, thousandth: int) -> None:
    """CDC 2003, appendix B, table B.1, all rows: minutes for 99 % and 99.9 %."""
    case = told("--volume", "45", "--loss", changes, "--emission", "4500")["cases"]["as it is"]
    assert round(60 * case["hundredth_left"]) == hundredth
    assert round(60 * case["thousandth_left"]) == thousandth


def test_a_room_without_any_loss_fills_without_end() -> None:
    answer = told("--volume", "45", "--loss", "0", "--emission", "4500", "--limit", "10")
    assert answer["cases"]["as it is"]["steady"]["high"] is None
    assert answer["cases"]["as it is"]["at_end"]["high"] == pytest.approx(100)
    assert "never" in run("--volume", "45", "--loss", "0", "--emission", "4500").output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "How large is the room?"),
        (("--volume", "45"), "Give one of --emission, --material or --trial"),
        (("--volume", "45", "--emission", "x"), '"x" is no emission'),
        (("--volume", "45", "--emission", "9-3"), "the lower end first"),
        (("--volume", "45", "--emission", "3", "--material", "PLA"), "Give one of"),
        (("--volume", "45", "--material", "PLA", "--quantity", "styrene"), "has no styrene of PLA"),
        (("--volume", "45", "--emission", "3", "--limit", "0"), "must be above 0"),
        (("--volume", "45", "--emission", "3", "--limit", "foo"), "is no number and no limit"),
        (("--volume", "45", "--emission", "3", "--unit", "1/h", "--limit", "who-pm2_5-24h"),
         "give a limit in 1/cm³"),
        (("--volume", "45", "--emission", "3", "--filter", "HEPA"), "is no filter class"),
        (("--volume", "45", "--emission", "3", "--filter", "1.5"), "0 to 1"),
        (("--volume", "45", "--trial", "pla-1"), "give --config as well"),
        (("--config", "/nowhere.toml", "--emission", "3"), "/nowhere.toml"),
        (("--volume", "45", "--emission", "inf"), "above 0 and finite"),
        (("--volume", "45", "--emission", "3", "--limit", "nan"), "above 0 and finite"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(
    words: tuple[str, ...], says: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(command, "DEFAULT", tmp_path / "none.toml")
    result = run(*words)
    assert result.exit_code == 1
    assert says in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize("word", ["nan", "inf", "-1"])
@pytest.mark.parametrize(
    "option", ["--loss", "--hours", "--captured", "--exhaust", "--filter-flow", "--mixing"]
)
def test_options_that_are_no_finite_number_of_the_right_size(option: str, word: str) -> None:
    result = run("--volume", "45", "--emission", "3", option, word)
    assert result.exit_code == 2
    assert option in result.stderr


def test_the_configuration_and_the_commissioning_are_used(tmp_path: Path) -> None:
    from daemon.commissioning.test_past import CONFIG

    place = Simulated(tmp_path, 1)
    words = {"channel": "bench.pm2_5", "volume": 45, "natural": 0.9, "natural_error": 0.02}
    more = {"clearance": 5.3, "clearance_error": 0.1, "points": 90, "method": "walk"}
    assert place.ask("commissioned", name="hood", **words, **more)["done"]
    place.wait(1)
    config = tmp_path / "ventwright.toml"
    config.write_text(CONFIG.format(folder=tmp_path).replace("= 45", "= 45\nmixing = 2"))
    answer = told("--config", str(config), "--emission", "3200")
    assert (answer["volume"], answer["loss_rate"], answer["mixing"]) == (45, 0.9, 2)
    missing = run("--config", str(config), "--trial", "pla-1")
    assert "There is no analysed trial pla-1; trials here: none." in missing.stderr
