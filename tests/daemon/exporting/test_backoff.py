from ventwright.exporting.backoff import Backoff


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
