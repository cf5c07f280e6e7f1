"""What can go wrong when writing to a database.

Exception
    Refused             it will not take these lines, whenever they are sent
    Unavailable         it cannot take any now; later it may
"""


class Refused(Exception):
    """The database will not take these lines, for the reason given."""

    def __init__(self, reason: str, status: int) -> None:
        """Keep the reason, and the status that the server answered with."""
        super().__init__(reason)
        self.status = status


class Unavailable(Exception):
    """The database cannot take lines now."""

    def __init__(self, reason: str, asked: int = 0) -> None:
        """Keep the reason, and the wait that the server asked for (ms)."""
        super().__init__(reason)
        self.asked = asked
