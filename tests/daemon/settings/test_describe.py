from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Optional

import pytest
from annotated_types import Ge, Gt, Interval, Le, Lt, MinLen, MultipleOf

from ventwright.settings.describe import describe
from ventwright.settings.fields import build, check
from ventwright.settings.findings import Findings
from ventwright.settings.model import Duration


@pytest.mark.parametrize(
    ("hint", "words"),
    [
        (float, "a number"),
        (Annotated[float, Gt(0)], "a number above 0"),
        (Annotated[float, Gt(0), Lt(9)], "a number above 0 and below 9"),
        (Annotated[int, Ge(1)], "a whole number of at least 1"),
        (Annotated[int, Le(5)], "a whole number of at most 5"),
        (Annotated[int, Interval(ge=1, le=8)], "a whole number from 1 to 8"),
        (Annotated[int, MultipleOf(10)], "a whole number that is a multiple of 10"),
        (Annotated[int, Ge(1)] | None, "a whole number of at least 1"),
        (Optional[bool], "true or false"),  # noqa: UP045 - what other people's drivers may hold
        (Annotated[str, MinLen(1)], "text in quotes, not empty,"),
        (Literal["N", "E", "O"], '"N", "E" or "O"'),
        (Literal[1, 2], "1 or 2"),
        (tuple[int, ...], "a list such as [1, 2]"),
        (list[str], 'a list such as ["a", "b"]'),
        (Duration, 'a length of time in quotes, such as "5 min" or "1 h 30 min",'),
        (dict[str, int], ""),
    ],
)
def test_types_in_words(hint: Any, words: str) -> None:
    assert describe(hint) == words


def test_units_follow_the_limits() -> None:
    assert describe(Annotated[float, Gt(0)], "m³") == "a number above 0 in m³"


@dataclass(frozen=True)
class Odd:
    """Options as somebody else's driver might have them."""

    table: dict[str, int]
    file: Path | None = None
    low: int = 1
    high: int = 2

    def __post_init__(self) -> None:
        if self.low >= self.high:
            raise ValueError("low must be below high")


def findings() -> Findings:
    return Findings("config.toml", {}, {})


def test_types_without_words_fall_back_on_the_librarys() -> None:
    found = findings()
    check(Odd, {"table": 5}, ("parts", "odd"), found)
    (mistake,) = found.mistakes
    assert mistake.sentence() == ("parts.odd.table is 5 (config.toml): input should be an object.")


def test_what_a_driver_says_of_its_options_as_a_whole_is_told() -> None:
    found = findings()
    place = ("parts", "odd")
    values = check(Odd, {"table": {}, "low": 3}, place, found)
    assert build(Odd, values, place, found) is None
    (mistake,) = found.mistakes
    assert mistake.sentence() == (
        "parts.odd does not fit together (config.toml): low must be below high."
    )
