"""The errors of the configuration. Imports no library, so that the keeper can catch them.

Exception
└── ConfigurationError (also a ValueError): everything wrong with what was written, at once
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Mistake:
    """One thing wrong in the configuration, told so that it can be put right."""

    place: str
    """The full key, such as `room.volume`, or the file."""
    found: str
    """What is there, as the rest of a sentence: `is "big"`, `is missing`. Never a secret."""
    allowed: str
    """What may be there."""
    hint: str = ""
    """What to do, where that is not plain from `allowed`."""
    where: str = ""
    """File and line, or the environment variable."""

    def sentence(self) -> str:
        """Tell the mistake in one sentence."""
        where = f" ({self.where})" if self.where else ""
        tail = "; ".join(text for text in (self.allowed, self.hint) if text)
        return f"{self.place} {self.found}{where}: {tail}{'' if tail.endswith('?') else '.'}"


class ConfigurationError(ValueError):
    """The configuration cannot be used; `mistakes` holds every reason, its text a line each."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        super().__init__(mistakes)
        self.mistakes = mistakes

    def __str__(self) -> str:
        return "\n".join(mistake.sentence() for mistake in self.mistakes)
