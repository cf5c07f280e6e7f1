import pytest

from ventwright.settings.emissions import MARKS, PER_HOUR, Emission, emissions, published, rows
from ventwright_drivers.quantities import QUANTITIES

TABLE = emissions()
GOOD = {
    "material": "PLA",
    "quantity": "tvoc",
    "low": 1.0,
    "high": 2.0,
    "unit": "mg/h",
    "range": "one figure",
    "measured": "in a chamber",
    "nearest": "",
    "source": "a paper",
    "mark": "confirmed",
}


@pytest.mark.parametrize("row", TABLE.values(), ids=TABLE)
def test_every_row_has_source_unit_and_mark(row: Emission) -> None:
    assert row.source
    assert any(letter.isdigit() for letter in row.source)
    assert row.unit in PER_HOUR
    assert row.mark in MARKS
    assert row.range
    assert row.measured
    assert not row.nearest or row.nearest in QUANTITIES
    assert (row.hourly[2] == "1/h") == (row.quantity == "particles")


@pytest.mark.parametrize(
    ("key", "low", "high", "unit"),
    [
        ("azimi-2016-particles", 6e9, 6e12, "1/h"),  # 1e8 to 1e11 a minute
        ("mendes-2017-abs-room", 7.2e12, 1.44e13, "1/h"),  # 1.2e11 to 2.4e11 a minute
        ("zhang-2023-particles", 1e9, 1e11, "1/h"),
        ("zhang-2023-tvoc", 200, 1000, "µg/h"),
        ("azimi-2016-styrene", 600, 6600, "µg/h"),
    ],
)
def test_papers_of_different_units_come_out_by_the_hour(
    key: str, low: float, high: float, unit: str
) -> None:
    """Units of the papers differ (a minute, an hour, a second): emissions.md, section 1."""
    assert TABLE[key].hourly == (pytest.approx(low), pytest.approx(high), unit)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"unit": "1/kg"}, r"\[x\] .* unit is one of 1/h, 1/min, .* found 1/kg"),
        ({"mark": "sure"}, "mark one of confirmed, from memory, derived; found mg/h and sure"),
        ({"source": ""}, "source must not be empty"),
        ({"low": 0}, "low must be above 0"),
        ({"low": 3}, "not above high"),
        ({"colour": "red"}, "colour missing or unknown"),
    ],
)
def test_a_row_that_is_wrong_is_refused(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        rows({"x": {**GOOD, **wrong}})


def test_a_row_that_lacks_something_is_refused() -> None:
    with pytest.raises(ValueError, match="mark, source missing or unknown"):
        rows({"x": {k: v for k, v in GOOD.items() if k not in ("mark", "source")}})


def test_a_material_gets_its_own_rows_and_others_the_general_ones() -> None:
    assert {row.material for row in published("particles", "abs")} == {"ABS"}
    assert {row.material for row in published("particles", "TPU")} == {"any"}
    assert {row.material for row in published("styrene", "hips")} == {"ABS, HIPS"}
    assert {row.material for row in published("particles")} == {"any"}
    assert published("styrene") == []
