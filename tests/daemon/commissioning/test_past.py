"""Commissioning from what was recorded: the same figures without a ritual."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ventwright.commands.commission import commission
from ventwright.commissioning.findings import Rate, together
from ventwright.commissioning.levels import remembered
from ventwright.commissioning.measuring import Wanted, kept, plan, recorded
from ventwright.commissioning.past import Spell, spells
from ventwright.commissioning.verdict import Extractor, lines
from ventwright.commissioning.verdict import told as verdict_told
from ventwright.commissioning.walk import StoppedError
from ventwright.reporting.happenings import Run
from ventwright.storage.reducing import reduce_next
from ventwright.storage.schema import store_path
from walked import DUST, OFFSET, TRACER, Simulated

HOUR_S = 3600


def live(place: Simulated, hours: float, hold_off: bool = False) -> None:
    """Print for five minutes, then let things go their way; some held off by hand."""
    if hold_off:
        place.ask("hold", name="hood", on=False, **{"for": round(hours * 3_600_000)})
    place.confirm("", lambda: None)
    place.wait(hours * HOUR_S)


def days(place: Simulated) -> Simulated:
    for n in range(6):
        live(place, 1.5 + 0.2 * n)
    for _ in range(3):
        live(place, 3.5, hold_off=True)
        place.wait(1.5 * HOUR_S)
    return place


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Simulated:
    return days(Simulated(tmp_path_factory.mktemp("past"), 1, DUST, 2))


def everything(place: Simulated) -> tuple[int, int]:
    return OFFSET, OFFSET + 1000 * place.seconds


def test_past_episodes_give_both_rates(place: Simulated) -> None:
    verdicts, past = recorded(place.settings, plan(place.settings, Wanted()), *everything(place))
    (hood,) = verdicts
    assert len(past.rates["hood"]) >= 5
    assert len(past.rates[""]) >= 2
    assert not hood.against
    assert hood.natural.rate == pytest.approx(DUST.natural, abs=3 * hood.natural.error)
    assert hood.clearance.rate == pytest.approx(DUST.clearance, abs=3 * hood.clearance.error)
    assert hood.clearance.error < 0.02 * hood.clearance.rate
    flow = hood.flow()
    assert flow.low < DUST.exhaust < flow.high
    assert flow.value == pytest.approx(DUST.exhaust, abs=3 * flow.error)
    assert "so it delivers" in "\n".join(lines(hood))
    assert place.ask("commissioned", **hood.words())["done"]
    place.wait(1)
    (found,) = [one for one in kept(place.settings) if one["at"]]
    assert found["method"].startswith("past, ")


def test_minutes_do_where_the_readings_are_gone(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 5)
    live(place, 2.2)
    live(place, 2)
    channels, span = ["bench.pm2_5"], (OFFSET, OFFSET + 1000 * place.seconds)
    before = place.levels(channels, *span)
    while place.writer.tend(lambda db, boot: reduce_next(db, boot, 1000 * place.seconds)):
        pass
    with closing(sqlite3.connect(store_path(tmp_path))) as db, db:
        db.execute("DELETE FROM blocks")
    assert place.levels(channels, *span)["bench.pm2_5"] == []
    minutes = remembered(tmp_path, place.settings, channels, *span)["bench.pm2_5"]
    assert 150 < len(minutes) < len(before["bench.pm2_5"]) / 2
    _, past = recorded(place.settings, plan(place.settings, Wanted()), *everything(place))
    assert past.rates["hood"]
    for one in past.rates["hood"]:
        assert one.rate == pytest.approx(DUST.clearance, abs=3 * one.error)


def test_where_nothing_was_held_off_the_natural_rate_is_missing(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 2)
    live(place, 1.5)
    verdicts, _ = recorded(place.settings, plan(place.settings, Wanted()), *everything(place))
    assert verdicts[0].against[0] == (
        "with all extractors off: no fall by 30 µg/m³ that lasted 10 min was recorded"
    )
    assert verdict_told(verdicts[0])["natural"] is None


def test_few_decays_that_differ_leave_a_wide_flow_that_is_never_below_nothing() -> None:
    """Two decays with an extractor: Student's t is 12.7 then, not 1.96."""
    natural = Rate(0.9, 0.01, 0.88, 0.92, 90, 0.99, ())
    two = together([Rate(k, 0.05, k - 0.1, k + 0.1, 90, 0.99, ()) for k in (4.9, 5.1)])
    flow = Extractor("hood", "bench.pm2_5", 45, 0.0, natural, two, "past").flow()
    assert flow.high - flow.value == pytest.approx(45 * (two.half**2 + 0.02**2) ** 0.5)
    assert flow.high - flow.value > 12 * 45 * two.error
    far = together([Rate(k, 0.05, k - 0.1, k + 0.1, 90, 0.99, ()) for k in (2.5, 7.5)])
    assert far.low == 0
    assert Extractor("hood", "bench.pm2_5", 45, 0.0, natural, far, "past").flow().low == 0


def test_times_of_two_extractors_are_left_out() -> None:
    minute = 60_000
    runs = [Run("a", 20 * minute, "", 60 * minute), Run("b", 40 * minute, "", None)]
    assert spells(runs, 0, 100 * minute) == [
        Spell("", 0, 20 * minute),
        Spell("a", 20 * minute, 40 * minute),
        Spell("b", 60 * minute, 100 * minute),
    ]


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        (Wanted(extractors=("box",)), "There is no extractor box; extractors here: hood."),
        (Wanted(channel="bench.co"), 'There is no channel "bench.co"; tracers here: bench.pm2_5,'),
        (Wanted(background=60_000), "--watch is too short: the background takes 3 min at least."),
        (Wanted(longest=60_000), "--longest is too short: a decay takes 10 min at least."),
        (Wanted(ceiling=20.0), "--ceiling 20 is too low: a decay begins 30 µg/m³ above the"),
        (Wanted(channel="nothing"), 'There is no channel "nothing"'),
    ],
)
def test_what_is_not_there_is_said(place: Simulated, wanted: Wanted, says: str) -> None:
    with pytest.raises(StoppedError) as error:
        plan(place.settings, wanted)
    assert says in str(error.value)


def test_co2_is_used_where_it_decides(tmp_path: Path) -> None:
    found = plan(Simulated(tmp_path, 1, TRACER).settings, Wanted())
    assert (found.channel, found.least, found.settle) == ("bench.co2", 400, 180_000)


CONFIG = """
[room]
name = "r"
volume = 45
[store]
folder = "{folder}"
[parts.bench]
model = "pms5003"
port = "/dev/null"
quantities = ["pm2_5"]
[relays.board]
model = "relay-gpio"
chip = "/dev/gpiochip0"
line = 17
safe_state = "off"
[extractors.hood]
relay = "board"
when_blind = "on"
[alarms.print]
channel = "bench.pm2_5"
setpoint = 20
deadband = 5
"""


def run(place: Simulated, folder: Path, *words: str) -> Any:
    config = folder / "ventwright.toml"
    config.write_text(CONFIG.format(folder=place.settings.store.folder))
    return CliRunner().invoke(commission, ["--config", str(config), *words])


def test_the_command_tells_the_past_and_says_that_nobody_kept_it(
    place: Simulated, tmp_path: Path
) -> None:
    span = ("--from", "2026-01-01", "--until", "2027-01-01")
    result = run(place, tmp_path, "--past", *span)
    assert result.exit_code == 0, result.output
    assert "hood, measured by bench.pm2_5 in 45 m³" in result.output
    assert "The keeper does not run, so nothing was kept" in result.output
    assert "draw flue gases back" in result.output
    told = json.loads(run(place, tmp_path, "--past", "--json", "--dry", *span).stdout)
    assert told["extractors"][0]["concluded"]
    assert told["extractors"][0]["clean_air"]["unit"] == "m³/h"
    plot = tmp_path / "decays.svg"
    assert run(place, tmp_path, "--past", "--plot", str(plot), *span).exit_code == 0
    assert plot.exists()


def test_without_a_keeper_there_is_no_walk(place: Simulated, tmp_path: Path) -> None:
    result = run(place, tmp_path)
    assert result.exit_code == 1
    assert "start it with: ventwright run" in result.stderr


def test_nothing_is_shown_before_anything_was_kept(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1)
    assert "Nothing was commissioned yet" in run(place, tmp_path, "--show").output
    words = {"channel": "bench.pm2_5", "volume": 45, "natural": 0.9, "natural_error": 0.02}
    more = {"clearance": 5.3, "clearance_error": 0.1, "points": 90, "method": "walk"}
    assert place.ask("commissioned", name="hood", **words, **more)["done"]
    place.wait(1)
    said = run(place, tmp_path, "--show").output
    assert "hood, by maker (walk, bench.pm2_5, 45 m³)" in said
    assert "198 m³/h of clean air" in said
    assert json.loads(run(place, tmp_path, "--show", "--json").stdout)[0]["clearance"] == 5.3
