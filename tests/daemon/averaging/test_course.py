"""Any mean from one-minute means, against sums done the long way."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ventwright.averaging.course import Course, minutes_of
from ventwright_drivers.quantities import QUANTITIES

MINUTES = st.lists(
    st.none() | st.tuples(st.floats(0, 500), st.sampled_from([0.1, 0.5, 0.8, 1.0])), min_size=1
)


def course_of(minutes: list[tuple[float, float] | None]) -> Course:
    course = Course("bench.pm2_5", QUANTITIES["pm2_5"], 0, len(minutes))
    for number, one in enumerate(minutes):
        if one is not None:
            course.put(number, *one)
    return course


def mean(minutes: list[tuple[float, float] | None]) -> float | None:
    known = [one for one in minutes if one]
    cover = sum(c for _, c in known)
    if not cover or cover < 0.75 * len(minutes) - 1e-6:
        return None
    return sum(m * c for m, c in known) / cover


@example([(0.0, 0.8), (0.0, 0.5), (0.0, 1.0)], 2, 0.0)  # covered by three quarters exactly
@given(MINUTES, st.integers(1, 20), st.floats(0, 500))
def test_rolling_means_are_those_done_the_long_way(
    minutes: list[tuple[float, float] | None], window: int, limit: float
) -> None:
    course = course_of(minutes)
    means = [mean(minutes[n : n + window]) for n in range(len(minutes) - window + 1)]
    known = [value for value in means if value is not None]
    sure = all(abs(value - limit) > 1e-6 for value in known)
    worst = course.worst(window)
    assert (worst is None) == (not known)
    assert worst is None or worst.value == pytest.approx(max(known), abs=1e-6)
    if sure:
        assert course.above(limit, window) == sum(value > limit for value in known)


def test_a_gap_is_unknown_and_not_clean() -> None:
    course = course_of([(10, 1), None, None, (30, 1)])
    assert course.means(1) == [10, None, None, 30]
    assert course.mean(0, 4) is None
    assert course.known == 2
    assert [t for t, value in minutes_of(course) if value] == [0, 180_000]


def test_two_boots_in_one_minute_are_one_minute() -> None:
    course = course_of([(10, 0.5)])
    course.put(0, 30, 0.5)
    course.put(7, 99, 1)
    assert course.means(1) == [20]
