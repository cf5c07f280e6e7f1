"""The courier's pulse: only loops that all go round feed the watchdog."""

from ventwright.courier.pulse import Pulse


def test_it_feeds_once_when_every_loop_went_round() -> None:
    told: list[str] = []
    pulse = Pulse(("looking", "pusher"), told.append)
    pulse.beat("looking")
    pulse.beat("looking")
    assert told == []
    pulse.beat("pusher")
    assert told == ["WATCHDOG=1"]


def test_a_loop_that_hangs_starves_it_however_often_the_others_go_round() -> None:
    told: list[str] = []
    pulse = Pulse(("looking", "pusher", "notifier"), told.append)
    for loop in ("looking", "pusher", "notifier", *("looking", "notifier") * 100):
        pulse.beat(loop)
    assert told == ["WATCHDOG=1"]
    pulse.beat("pusher")
    assert told == ["WATCHDOG=1"] * 2
