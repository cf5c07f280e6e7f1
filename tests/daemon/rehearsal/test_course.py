import pytest

from ventwright.rehearsal.course import Course
from ventwright.rehearsal.world import Moment


def _course(held: list[float], let_be: list[float], on: int = 0) -> Course:
    course = Course()
    for second, (a, b) in enumerate(zip(held, let_be, strict=True), 1):
        course.add(Moment(second, "", second <= on, a, b))
    return course


def test_peaks_and_time_of_extraction() -> None:
    course = _course([1, 5, 3], [1, 8, 9], on=2)
    assert course.peaks() == (5, 9)
    assert course.extraction == 2


def test_nothing_played_yet() -> None:
    course = Course()
    assert course.peaks() == (0, 0)
    assert course.worst_hours() == (None, None)
    assert course.recoveries(0, 5) == (None, None)


def test_recovery_counts_from_the_end_of_the_print_and_is_for_good() -> None:
    course = _course([9, 9, 9, 4, 6, 4, 4], [9] * 7)
    assert course.recoveries(2, 5) == (3, None)


def test_recovered_before_the_end() -> None:
    assert _course([1, 1, 1], [1, 1, 1]).recoveries(1, 5) == (0, 0)


def test_worst_hour_is_the_highest_of_all_hours() -> None:
    levels = [0.0] * 1000 + [10.0] * 1800 + [0.0] * 4000
    assert _course(levels, [2.0] * 6800).worst_hours() == (pytest.approx(5), pytest.approx(2))
