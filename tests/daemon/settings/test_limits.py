import dataclasses

import pytest

from ventwright.settings import shipped as shipping
from ventwright.settings.limits import Limit, limits
from ventwright.settings.shipped import shipped
from ventwright_drivers.quantities import QUANTITIES

TABLE = limits()


@pytest.mark.parametrize(
    ("key", "sentence"),
    [
        ("who-pm2_5-24h", "WHO 2021 guideline: 15 µg/m³ over 24 h"),
        ("who-pm10-year", "WHO 2021 guideline: 15 µg/m³ over a year"),
        ("who-indoor-co-1h", "WHO 2010 indoor guideline: 35 mg/m³ over 1 h"),
        ("who-europe-co-1h", "WHO Europe 2000 guideline: 30 mg/m³ over 1 h"),
        ("niosh-co-ceiling", "NIOSH ceiling REL: 200 ppm at any time"),
        ("epa-pm2_5-year", "US EPA 2024 primary standard: 9 µg/m³ over a year"),
    ],
)
def test_a_limit_says_itself_in_plain_words(key: str, sentence: str) -> None:
    assert TABLE[key].sentence() == sentence


@pytest.mark.parametrize(
    ("key", "end"),
    [
        ("who-pm2_5-24h", ": 15 µg/m³ over 24 h"),
        ("who-indoor-co-15min", ": 100 mg/m³ over 15 min, 87.3 ppm at 25 °C and 1 atm"),
        ("niosh-co-ceiling", ": 200 ppm at any time, for adults at work"),
        (
            "acgih-hcho-8h",
            ": 0.1 ppm over 8 h, 123 µg/m³ at 25 °C and 1 atm, for adults at work (from memory)",
        ),
    ],
)
def test_in_a_message_it_says_whom_it_is_for_and_how_sure_it_is(key: str, end: str) -> None:
    assert TABLE[key].in_message().endswith(end)


def test_every_limit_can_be_told_in_a_message() -> None:
    for limit in TABLE.values():
        assert limit.in_message().startswith(limit.sentence())


@pytest.mark.parametrize(
    ("key", "unit", "value"),
    [
        ("osha-hcho-8h", "µg/m³", 0.75 * 1228.2),  # 1 ppm = 1.2282 mg/m³ (limits.md section 8)
        ("osha-co-8h", "mg/m³", 50 * 1.1456),  # 1 ppm = 1.1456 mg/m³ (same)
        ("who-indoor-co-15min", "ppm", 100 / 1.1456),
        ("osha-co-8h", "ppb", 50_000),
        ("who-hcho-30min", "µg/m³", 100),
        ("who-hcho-30min", "ppb", 81.42),
        ("who-pm2_5-24h", "mg/m³", 0.015),
        ("who-pm2_5-24h", "µg/m³", 15),
    ],
)
def test_units_convert_at_25_degrees(key: str, unit: str, value: float) -> None:
    assert TABLE[key].in_unit(unit) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("key", "unit", "why"),
    [
        ("who-pm2_5-24h", "ppb", "no molar mass is known to tell µg/m³ in ppb"),
        ("osha-co-8h", "1/cm³", "ppm cannot be told in 1/cm³"),
    ],
)
def test_what_cannot_be_converted_is_refused(key: str, unit: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        TABLE[key].in_unit(unit)


@pytest.mark.parametrize("limit", TABLE.values(), ids=TABLE)
def test_every_row_can_be_used(limit: Limit) -> None:
    assert limit.value > 0
    assert limit.averaging_ms >= 0
    assert limit.population in ("public", "occupational")
    assert limit.mark in ("confirmed", "from memory", "derived")
    assert limit.source
    if limit.quantity:
        assert limit.in_unit(QUANTITIES[limit.quantity].unit) > 0


def test_averaging_times() -> None:
    assert TABLE["who-pm2_5-24h"].averaging_ms == 86_400_000
    assert TABLE["who-pm2_5-year"].averaging_ms == 365 * 86_400_000
    assert TABLE["niosh-co-ceiling"].averaging_ms == 0


def test_limits_cannot_be_changed_by_a_reader() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        TABLE["who-pm2_5-24h"].value = 1  # type: ignore[misc]


def test_shipped_files_are_found_and_others_are_not() -> None:
    assert "[who-pm2_5-24h]" in shipped("limits.toml").read_text(encoding="utf-8")
    with pytest.raises(FileNotFoundError, match=r"gone.toml did not come with"):
        shipped("gone.toml")


def test_an_installed_file_goes_first(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "limits.toml").write_text("installed")
    monkeypatch.setattr(shipping, "files", lambda _: tmp_path)
    assert shipped("limits.toml").read_text(encoding="utf-8") == "installed"
