"""The hand on a relay: at once, again and again, and safe at the end whatever happens."""

from itertools import pairwise
from typing import Any

import pytest

from fakes import FakeClock, wiring
from ventwright.events import RelayReport
from ventwright.sampling.relay_hand import LAST_TRIES, RETRY_MS, RelayHand
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Relay

REPEAT = 10_000


class Contact(Relay):
    """A relay that notes every command, and fails or lies as told."""

    model = "contact"

    def __init__(self, clock: FakeClock) -> None:
        super().__init__(None, wiring(clock))
        self.commands: list[tuple[int, bool]] = []
        self.error: Exception | None = None
        self.reads: Any = "right"
        self.opened = 0
        self.closed = 0

    def start(self) -> None:
        self.opened += 1

    def close(self) -> None:
        self.closed += 1
        if isinstance(self.error, ZeroDivisionError):
            raise self.error

    def switch(self, on: bool) -> None:
        self.commands.append((self.clock.now(), on))
        if self.error:
            raise self.error

    def state(self) -> bool | None:
        found: bool | None = self.commands[-1][1] if self.reads == "right" else self.reads
        return found


class Bench:
    def __init__(self, safe: bool = False) -> None:
        self.clock = FakeClock()
        self.contact = Contact(self.clock)
        self.reports: list[RelayReport] = []
        self.hand = RelayHand("board", self.contact, REPEAT, safe, self.report)
        self.end = 0

    def report(self, report: RelayReport) -> None:
        self.reports.append(report)
        if report.t >= self.end:
            self.clock.stop()

    def run(self, on: bool, end: int) -> list[int]:
        """Command and obey until the first report at or after `end`; returns when it tried."""
        self.end = end
        self.hand.command(on)
        self.hand.run()
        return [t for t, _ in self.contact.commands]


def test_a_command_is_carried_out_at_once_and_repeated() -> None:
    bench = Bench()
    assert bench.run(True, 30_000)[:4] == [0, 10_000, 20_000, 30_000]
    assert bench.reports[0] == RelayReport(0, "board", True, True)
    assert bench.contact.opened == 1


@pytest.mark.parametrize("safe", [False, True])
def test_the_end_leaves_the_contact_in_its_safe_state(safe: bool) -> None:
    bench = Bench(safe)
    bench.run(not safe, 5000)
    assert bench.contact.commands[-1][1] is safe
    assert bench.contact.closed == 1


def test_the_end_makes_it_safe_even_if_nothing_was_ever_commanded() -> None:
    bench = Bench(safe=True)
    bench.clock.stop()
    bench.hand.run()
    assert bench.contact.commands == [(0, True)]


def test_told_to_end_it_tries_a_few_times_to_make_the_contact_safe() -> None:
    bench = Bench()
    bench.end = 10**9
    bench.contact.error = NoAnswer("mute")
    bench.hand.end()
    bench.hand.run()
    assert bench.contact.commands == [(0, False)] * LAST_TRIES
    assert bench.contact.closed == LAST_TRIES + 1


def test_a_stop_while_it_waits_sends_nothing_but_the_safe_state(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    bench.end = 10**9
    monkeypatch.setattr(bench.clock, "sleep_until", lambda _: bench.clock.stop())
    bench.hand.command(True)
    bench.hand.run()
    assert bench.contact.commands == [(0, True), (0, False)]


@pytest.mark.parametrize("error", [NoAnswer("mute"), ZeroDivisionError("a bug")])
def test_a_failed_command_is_tried_again_and_reported_every_time(error: Exception) -> None:
    bench = Bench()
    bench.contact.error = error
    tries = bench.run(True, 30_000)
    waits = [after - before for before, after in pairwise(tries)]
    assert waits[:5] == [*RETRY_MS, RETRY_MS[-1]]
    assert all(str(error) in r.why for r in bench.reports)
    assert bench.contact.opened == len(tries)


def test_a_contact_that_reads_back_otherwise_is_commanded_again() -> None:
    bench = Bench()
    bench.contact.reads = False
    assert bench.run(True, 3000)[:3] == [0, 1000, 3000]
    assert bench.reports[0] == RelayReport(0, "board", True, False)
    assert bench.contact.opened == 1


def test_a_board_that_cannot_tell_counts_as_obeying() -> None:
    bench = Bench()
    bench.contact.reads = None
    assert bench.run(True, 10_000)[:2] == [0, 10_000]
    assert bench.reports[0].why == ""


def test_a_new_command_does_not_wait_for_the_retry() -> None:
    bench = Bench()
    bench.contact.error = NoAnswer("mute")
    bench.hand.command(True)
    bench.hand.command(False)
    bench.run(True, 0)
    assert bench.contact.commands[:1] == [(0, True)]
    again = Bench()
    again.hand.command(True)
    again.hand.command(False)
    assert again.run(True, 10_000)[:3] == [0, 0, 0]
