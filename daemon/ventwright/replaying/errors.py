"""The errors of a replay.

Exception
└── ReplayError (also a ValueError): what was given cannot be replayed; the text is one sentence
"""


class ReplayError(ValueError):
    """What was given cannot be replayed, for the reason told in one clear sentence."""
