"""How noisy the means of a channel over single steps are, learned from the means themselves.

The second difference of three means in a row has six times the variance of one of them, whatever
the even rise or fall of the air; what is far too large for it is a change of the air and no noise.
Optical parts count less evenly in dirty air, so noise is taken to grow with the level.
"""

_MEMORY = 15
_CLIP = 6


class Noise:
    """The variance of a mean over one step, in the channel's unit squared."""

    def __init__(self, variance: float, whole: float) -> None:
        """Start from a guess for clean air; at the level `whole` its root is twice as large."""
        self.variance = variance
        """In clean air."""
        self._whole = whole
        self._means: list[float] = []

    def at(self, level: float) -> float:
        """Give the variance at a level above clean air."""
        return self.variance * self._grown(level)

    def _grown(self, level: float) -> float:
        return (1 + max(level, 0.0) / self._whole) ** 2

    def take(self, mean: float, length: float = 1.0) -> float:
        """Take the next mean, over so many steps; returns its variance.

        From one over half a step or less, because a fan was switched, nothing is learned.
        """
        if length < 0.5:
            self._means.clear()
            return self.at(mean) / length
        self._means.append(mean)
        if len(self._means) == 3:
            first, second, third = self._means
            found = (third - 2 * second + first) ** 2 / 6 / self._grown(second)
            self.variance += (min(found, _CLIP * self.variance) - self.variance) / _MEMORY
            self.variance = max(self.variance, 1e-6)
            del self._means[0]
        return self.at(mean) / min(length, 1.0)

    def pause(self) -> None:
        """Know that the next mean does not follow on the last."""
        self._means.clear()

    def save(self) -> list[float]:
        """Give all as plain JSON."""
        return [self.variance, *self._means]

    def restore(self, saved: list[float]) -> None:
        """Take back what `save` gave."""
        self.variance, *self._means = saved
