"""A seam that fails at one call, once or from then on, and the loop that tries every call.

What is tried is each call that a run without faults makes in its first seconds: N goes up until a
run makes fewer than N calls.
"""

from collections.abc import Callable
from itertools import count


class Failing:
    """Counts the calls of one seam and raises what the seam really raises."""

    def __init__(self, at: int, for_ever: bool, error: Callable[[], Exception]) -> None:
        """Fail at call `at`, counted from 1; `for_ever`: at all that follow, too."""
        self.calls = 0
        self.struck = 0
        """How many calls failed."""
        self._at, self._for_ever, self._error = at, for_ever, error
        self._counting = True
        self._healed = False

    def strike(self) -> None:
        """Stand before a call of the seam; raises its error if it is this call's turn."""
        self.calls += self._counting
        due = self.calls >= self._at if self._for_ever else self._is_the_one()
        if due and not self._healed:
            self.struck += 1
            raise self._error()

    def _is_the_one(self) -> bool:
        return self._counting and self.calls == self._at

    def stop_counting(self) -> None:
        """Let no later call begin a failure."""
        self._counting = False

    def heal(self) -> None:
        """Let every later call succeed."""
        self._healed = True


def every_call(run: Callable[[int], Failing]) -> int:
    """Run for N = 1, 2, ... until a run makes fewer than N calls; returns how many N were tried."""
    for at in count(1):
        seam = run(at)
        if seam.calls < at:
            assert seam.struck == 0
            return at - 1
        assert seam.struck > 0
    raise AssertionError
