import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.settings.durations import UNITS_MS, format_duration, parse_duration


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("5 min", 300_000),
        ("1 h 30 min", 5_400_000),
        ("0.5 s", 500),
        ("250ms", 250),
        (" 2 d ", 172_800_000),
        ("0 s", 0),
        ("1h30min", 5_400_000),
        ("90 days", 7_776_000_000),
        ("1 day 6 h", 108_000_000),
    ],
)
def test_what_people_write(text: str, ms: int) -> None:
    assert parse_duration(text) == ms


@pytest.mark.parametrize(
    "wrong",
    [
        "",
        "5",
        "min",
        "5 m",
        "5 min 3",
        "-5 s",
        "5 sec",
        "5 dayss",
        "٣ s",
        "1.5.2 s",
        5,
        5.0,
        None,
        ["5 s"],
        "9" * 400 + " d",
    ],
)
def test_what_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match="allowed is a number and a unit"):
        parse_duration(wrong)


@given(st.integers(0, 999) | st.integers(1, 86_399).map(lambda s: s // 60 * 60_000))
def test_what_is_written_is_read_again(ms: int) -> None:
    assert parse_duration(format_duration(ms)) == ms


@given(st.integers(0, 10**11))
def test_two_units_are_near_enough(ms: int) -> None:
    smaller = UNITS_MS["s"] if ms < UNITS_MS["h"] else UNITS_MS["h"]
    assert abs(parse_duration(format_duration(ms)) - ms) <= smaller


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (0, "0 ms"),
        (999, "999 ms"),
        (45_000, "45 s"),
        (5_400_000, "1 h 30 min"),
        (86_400_000, "1 d"),
    ],
)
def test_how_it_is_told(ms: int, text: str) -> None:
    assert format_duration(ms) == text
