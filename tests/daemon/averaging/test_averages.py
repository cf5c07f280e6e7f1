"""`ventwright averages`: known air, and what it must be called."""

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from aired import CONFIGURATION, HOUR, MIDNIGHT, MINUTE, Air, configure, fill, steady
from ventwright.cli import main
from ventwright.quality.marks import Quality

DAY = 24 * HOUR
NOON = "2026-09-24T12:00"


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def call(config: Path, *words: str) -> Result:
    result = CliRunner().invoke(main, ["averages", "--config", str(config), *words])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def told(config: Path, at: str = NOON) -> dict[str, Any]:
    result = call(config, "--at", at, "--json")
    assert result.exit_code == 0, result.output
    return {channel["channel"]: channel for channel in json.loads(result.stdout)["channels"]}


def means(channel: dict[str, Any]) -> dict[str, Any]:
    return {mean["over"]: mean["mean"] for mean in channel["means"]}


def work(channel: dict[str, Any]) -> dict[str, Any]:
    return {one["what"]: one["mean"] for one in channel["at work today"]}


def test_steady_air_is_the_same_over_every_time(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, {"bench": steady(200, 300), "gas": steady(1200)}, end - 26 * HOUR, end)
    found = told(configure(tmp_path))
    bench = found["bench.pm2_5"]
    assert set(means(bench)) == {"1 min", "5 min", "15 min", "1 h", "8 h", "24 h"}
    assert set(means(bench).values()) == {20}
    assert {mean["coverage"] for mean in bench["means"]} == {1}
    assert bench["index"]["NowCast"]["words"] == "71 (Moderate)"
    assert bench["index"]["24 h mean"]["index"] == 71
    limits = {limit["key"]: limit for limit in bench["means"][-1]["public limits"]}
    assert limits["who-pm2_5-24h"]["exceeded"]
    assert limits["who-pm2_5-24h"]["share"] == pytest.approx(20 / 15, abs=1e-4)
    assert not limits["epa-pm2_5-24h"]["exceeded"]
    assert "NowCast" not in found["gas.co"]["index"]
    assert found["gas.co"]["index"]["8 h mean"]["index"] == 143  # 12.0 ppm, by the equation


def test_a_shift_counts_the_hours_without_exposure(tmp_path: Path) -> None:
    """29 CFR 1910.1000(d)(1)(ii), played: 150 ppm for 2 h, 75 for 2 h, 50 for 4 h is 81.25 ppm."""

    def air(t: int) -> tuple[tuple[int | None, ...], bytes]:
        hour = (t - MIDNIGHT - 1) // HOUR
        ppm = 150 if 1 <= hour < 3 else 75 if 3 <= hour < 5 else 50 if 5 <= hour < 9 else 0
        return (ppm * 100,), b"\0"

    fill(tmp_path, {"gas": air}, MIDNIGHT - HOUR, MIDNIGHT + 12 * HOUR)
    found = work(told(configure(tmp_path))["gas.co"])
    assert found["worst shift, time-weighted over 8 h"] == pytest.approx(81.25, abs=0.01)
    assert found["worst shift, time-weighted over 10 h"] == pytest.approx(65, abs=0.01)
    assert found["highest minute"] == 150
    early = work(told(configure(tmp_path), "2026-09-24T03:00")["gas.co"])
    assert early["worst shift, time-weighted over 8 h"] == pytest.approx(150 * 2 / 8, abs=0.01)


def test_yesterday_is_not_today(tmp_path: Path) -> None:
    def air(t: int) -> tuple[tuple[int | None, ...], bytes]:
        return (30_000 if t <= MIDNIGHT else 100,), b"\0"

    fill(tmp_path, {"gas": air}, MIDNIGHT - 10 * HOUR, MIDNIGHT + 12 * HOUR)
    found = told(configure(tmp_path))["gas.co"]
    assert set(work(found).values()) == {1}
    assert means(found)["24 h"] > 100


def test_a_mean_that_is_not_covered_is_no_number(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, {"bench": steady(200, 300)}, end - 24 * MINUTE, end)
    config = configure(tmp_path)
    found = told(config)["bench.pm2_5"]
    assert means(found) == {
        "1 min": 20,
        "5 min": 20,
        "15 min": 20,
        "1 h": None,
        "8 h": None,
        "24 h": None,
    }
    assert found["index"] == {"24 h mean": None, "NowCast": None}
    text = call(config, "--at", NOON).stdout
    assert "1 h   coverage 40 %" in text
    assert "not known: WHO 2021 guideline: 15 µg/m³ over 24 h, public" in text
    assert "NowCast: too little is known" in text


def test_what_is_not_good_does_not_count(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR

    def air(t: int) -> tuple[tuple[int | None, ...], bytes]:
        humid = t // 3000 % 5 == 0
        return (9000 if humid else 200, None), bytes([Quality.HUMID * humid, Quality.FAILED])

    fill(tmp_path, {"bench": air}, end - HOUR, end)
    found = told(configure(tmp_path))
    assert means(found["bench.pm2_5"])["15 min"] == 20
    assert set(means(found["bench.pm10"]).values()) == {None}


def test_gas_limits_are_compared_in_the_channels_unit(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, {"gas": steady(800)}, end - 10 * HOUR, end)
    config = configure(tmp_path)
    eight = next(m for m in told(config)["gas.co"]["means"] if m["over"] == "8 h")
    shares = {limit["key"]: limit["share"] for limit in eight["public limits"]}
    assert shares["epa-co-8h"] == pytest.approx(8 / 9, abs=1e-4)
    assert shares["who-indoor-co-8h"] == pytest.approx(8 * 1.1456 / 10, abs=1e-3)
    text = call(config, "--at", NOON).stdout
    assert "ppm and mg/m³ are converted at 25 °C and 1013.25 hPa" in text
    assert "NIOSH ceiling REL: 200 ppm at any time, occupational" in text
    assert "(figure from memory)" in text


def test_without_a_time_it_ends_with_the_newest_stored_reading(tmp_path: Path) -> None:
    now = round(time.time() * 1000)
    end = now - 45_000
    fill(tmp_path, {"bench": steady(200, 300)}, end - 20 * MINUTE, end)
    result = call(configure(tmp_path))
    assert "1 min            20.0" in result.stdout
    assert "do not see ultrafine particles" in result.stdout


def test_a_store_that_stopped_long_ago_says_nothing_of_now(tmp_path: Path) -> None:
    end = round(time.time() * 1000) - HOUR
    fill(tmp_path, {"bench": steady(200, 300)}, end - 20 * MINUTE, end)
    assert "1 min    coverage 0 %" in call(configure(tmp_path)).stdout


def test_a_clock_that_was_not_right_is_told(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, {"bench": steady(200, 300)}, end - HOUR, end, settled=False)
    assert "clock was not known to be right" in call(configure(tmp_path), "--at", NOON).stdout


def test_two_boots_are_one_day(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    air: dict[str, Air] = {"bench": steady(200, 300)}
    fill(tmp_path, air, end - HOUR, end - 30 * MINUTE)
    fill(tmp_path, air, end - 30 * MINUTE, end, boot="boot-2")
    hour = told(configure(tmp_path))["bench.pm2_5"]["means"][3]
    assert hour["mean"] == 20
    assert hour["coverage"] > 0.99


def test_a_corrected_part_is_told_as_corrected(tmp_path: Path) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, {"bench": steady(200, 300)}, end - HOUR, end)
    climate = '[parts.climate]\nmodel = "sht40"\n'
    text = CONFIGURATION.replace(
        '"pms5003"\n', '"pms5003"\nhumidity = "climate.humidity"\nhumidity_correction = true\n'
    )
    shown = call(configure(tmp_path, text + climate), "--at", NOON).stdout
    assert "PM2.5 in µg/m³ (pms5003, corrected for humidity), until 24 September 12:00:00" in shown


def test_without_a_store_it_ends_with_a_sentence(tmp_path: Path) -> None:
    result = call(configure(tmp_path))
    assert result.exit_code == 1
    assert result.stderr.startswith(f"The store in {tmp_path} could not be read:")


def test_a_time_that_is_none_is_refused(tmp_path: Path) -> None:
    result = call(configure(tmp_path), "--at", "noon")
    assert result.exit_code == 2
    assert '"noon" is no time such as 2026-05-14T14:20' in result.stderr


PAIR = """
[parts.gas2]
model = "ze07-co"
port = "/nowhere/gas2"
[same_air.co]
channels = ["gas.co", "gas2.co"]
tolerance = 2
"""


def apart(gas: int | None, other: int | None) -> dict[str, Air]:
    """Two parts of which both are marked, as the core marks them while they disagree."""
    mark = bytes((Quality.INCONSISTENT_PARTS,))
    return {
        name: (lambda _, step=step: None if step is None else ((step,), mark))
        for name, step in (("gas", gas), ("gas2", other))
    }


@pytest.mark.parametrize(("gas", "other"), [(400, 1200), (1200, 400), (400, None), (None, 400)])
def test_of_two_parts_that_disagree_the_one_counts_that_the_core_counted(
    tmp_path: Path, gas: int | None, other: int | None
) -> None:
    end = MIDNIGHT + 12 * HOUR
    fill(tmp_path, apart(gas, other), end - 2 * HOUR, end)
    found = told(configure(tmp_path, CONFIGURATION + PAIR))
    seen = {name: means(found[f"{name}.co"])["1 h"] for name in ("gas", "gas2")}
    higher = max(step for step in (gas, other) if step is not None) / 100
    expected = {
        name: higher if step == higher * 100 else None
        for name, step in (("gas", gas), ("gas2", other))
    }
    assert seen == expected


def test_what_counts_changes_sides_with_the_air(tmp_path: Path) -> None:
    """From 11 h on the other one is the higher: five minutes of means, then it counts."""
    mark = bytes((Quality.INCONSISTENT_PARTS,))
    eleven = MIDNIGHT + 11 * HOUR
    air: dict[str, Air] = {
        "gas": lambda t: ((1200 if t <= eleven else 400,), mark),
        "gas2": lambda t: ((400 if t <= eleven else 1200,), mark),
    }
    fill(tmp_path, air, MIDNIGHT, MIDNIGHT + 12 * HOUR)
    found = told(configure(tmp_path, CONFIGURATION + PAIR))
    gas, other = (found[f"{name}.co"]["means"] for name in ("gas", "gas2"))
    hour = {mean["over"]: mean for mean in other}["1 h"]
    assert hour["mean"] == 12
    assert 0.9 < hour["coverage"] < 0.98
    assert {mean["over"]: mean["coverage"] for mean in gas}["15 min"] == 0
