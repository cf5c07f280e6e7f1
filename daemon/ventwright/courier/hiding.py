"""Hides secrets in text that comes from elsewhere: answers of servers, messages of libraries."""

import re
from collections.abc import Iterable
from urllib.parse import quote, unquote

_HIDDEN = "***"
_SHORTEST = 3
_LONGEST_REASON = 300
_PIECES = re.compile(r"[/:@?&=,;\s]+")


def pieces(address: str) -> set[str]:
    """Split an address into all that might be secret in it, the scheme aside."""
    found = set(_PIECES.split(address.partition("://")[2]))
    return {p for p in found | {unquote(p) for p in found} if len(p) >= _SHORTEST}


class Hider:
    """Knows some secrets and takes them out of texts; shows none in its own repr."""

    def __init__(self, secrets: Iterable[str]) -> None:
        """Remember the secrets, as they are and as addresses write them; the longest come first."""
        plain = {secret for secret in secrets if secret}
        written = {quote(secret, safe=safe) for secret in plain for safe in ("", "/")}
        self._secrets = sorted(plain | written, key=len, reverse=True)

    def hide(self, text: str) -> str:
        """Return a text on one line, without the secrets, of at most 300 characters."""
        for secret in self._secrets:
            text = text.replace(secret, _HIDDEN)
        return " ".join(text.split())[:_LONGEST_REASON]
