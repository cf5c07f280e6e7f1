"""How noisy the means of a channel over single steps are, learned from the means themselves.

The second difference of three means in a row has six times the variance of one of them, whatever
the even rise or fall of the air; what is far too large for it is a change of the air and no noise.
"""

_MEMORY = 15
_CLIP = 6


class Noise:
    """The variance of a mean over one step, in the channel's unit squared."""

    def __init__(self, variance: float) -> None:
        """Start from a guess."""
        self.variance = variance
        self._means: list[float] = []

    def take(self, mean: float) -> float:
        """Take the next mean; returns the variance."""
        self._means.append(mean)
        if len(self._means) == 3:
            first, second, third = self._means
            found = (third - 2 * second + first) ** 2 / 6
            self.variance += (min(found, _CLIP * self.variance) - self.variance) / _MEMORY
            self.variance = max(self.variance, 1e-6)
            del self._means[0]
        return self.variance

    def pause(self) -> None:
        """Know that the next mean does not follow on the last."""
        self._means.clear()

    def save(self) -> list[float]:
        """Give all as plain JSON."""
        return [self.variance, *self._means]

    def restore(self, saved: list[float]) -> None:
        """Take back what `save` gave."""
        self.variance, *self._means = saved
