"""Waits before another try; dates by RFC 9110, 5.6.7, whose example day is used."""

import pytest

from ventwright.exporting.backoff import Backoff, asked_ms

DATE = "Sun, 06 Nov 1994 08:49:37 GMT"


def test_doubles_up_to_five_minutes() -> None:
    backoff = Backoff()
    waits = [backoff.failed() for _ in range(11)]
    assert waits == [1000 * 2**n for n in range(9)] + [300_000, 300_000]


def test_a_success_starts_over() -> None:
    backoff = Backoff()
    backoff.failed()
    backoff.failed()
    backoff.worked()
    assert backoff.failed() == 1000


def test_the_longer_of_both_waits_counts_up_to_ten_minutes() -> None:
    backoff = Backoff()
    assert backoff.failed(30_000) == 30_000
    assert backoff.failed(500) == 2000
    assert backoff.failed(86_400_000) == 600_000


@pytest.mark.parametrize(
    ("asked", "date", "ms"),
    [
        ("77", "", 77_000),
        ("9" * 5000, DATE, 999_999_999_000),
        ("Sun, 06 Nov 1994 08:51:37 GMT", DATE, 120_000),
        ("Sunday, 06-Nov-94 08:51:37 GMT", DATE, 120_000),
        ("Sun Nov  6 08:51:37 1994", DATE, 120_000),
        ("Sun, 06 Nov 1994 08:51:37 GMT", "Sun Nov  6 08:49:37 1994", 120_000),
        ("Sun, 06 Nov 1994 08:00:00 GMT", DATE, 0),
        ("Sun, 06 Nov 1994 08:51:37 GMT", "", 0),
        ("tomorrow", DATE, 0),
        ("-5", DATE, 0),
        ("\u0667", DATE, 0),
        ("", DATE, 0),
    ],
)
def test_what_an_answer_asks_for(asked: str, date: str, ms: int) -> None:
    assert asked_ms({"Retry-After": asked, "Date": date}) == ms
    assert asked_ms({"Date": date}) == 0
