"""Secrets: read from files of their own or systemd credentials, shown nowhere.

A file is read at the moment of need and its content never enters an error, a log or a repr.
"""

import hmac
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import NoReturn

from ventwright.settings.errors import ConfigurationError, Mistake

DATABASE_TOKEN = "database-token"  # noqa: S105 - the name of a credential
PHONE_SERVICES = "phone-services"
CREDENTIALS = "CREDENTIALS_DIRECTORY"
"""Where systemd says in which folder its credentials are."""

_LARGEST = 100_000  # bytes


class Secret:
    """A text that shows itself only to `reveal`; compared in constant time, never pickled."""

    __slots__ = ("__text",)

    def __init__(self, text: str) -> None:
        self.__text = text

    def reveal(self) -> str:
        """Give the text, to be handed straight to whoever needs it."""
        return self.__text

    def __repr__(self) -> str:
        return "«secret»"

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Secret):
            return NotImplemented
        return hmac.compare_digest(self.__text.encode(), other.__text.encode())

    def __hash__(self) -> int:
        return hash(self.__text)

    def __reduce_ex__(self, _protocol: object) -> NoReturn:
        raise TypeError("a secret is not written anywhere")


def secret(name: str, file: Path | None, environ: Mapping[str, str]) -> Secret | None:
    """Read the secret `name` from `file`, else from the systemd credential, else give None.

    One newline at the end is no part of it. Raises ConfigurationError, which names the path only.
    """
    place = _place(name, file, environ)
    if place is None:
        return None
    text = _read(place).removesuffix("\n").removesuffix("\r")
    if not text.isprintable() or not text.strip():
        _refuse(place, "does not hold one line of text", "the secret alone, on one line, is needed")
    return Secret(text)


def service_addresses(file: Path | None, environ: Mapping[str, str]) -> list[Secret]:
    """Read the addresses of the phone services, one a line; blank lines and # comments are skipped.

    A line may begin with a name for the service and a colon: `ada: json://...`.

    Without a file and without the credential `phone-services` there are none.
    Raises ConfigurationError, which names the path only.
    """
    place = _place(PHONE_SERVICES, file, environ)
    lines = [line.strip() for line in _read(place).splitlines()] if place else []
    return [Secret(line) for line in lines if line and not line.startswith("#")]


def caution(file: Path | None) -> str:
    """Say so if others may read the secret file; empty if all is well or there is none."""
    try:
        mode = file.stat().st_mode if file else 0
    except (OSError, ValueError):
        return ""
    if mode & (stat.S_IROTH | stat.S_IWOTH):
        return f"{file} can be read by every user of this machine: chmod o-rw {file}"
    return ""


def _place(name: str, file: Path | None, environ: Mapping[str, str]) -> Path | None:
    folder = environ.get(CREDENTIALS)
    if file is not None or not folder:
        return file
    credential = Path(folder) / name
    given = credential.is_file() and credential.stat().st_size > 0  # empty: none was given
    return credential if given else None


def _read(place: Path) -> str:
    """Read text; leaves the except block before raising, so that no context holds the content."""
    try:
        if place.stat().st_size > _LARGEST:
            why = "is too large for a secret"
        else:
            return place.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        why = "is not UTF-8 text"
    except (OSError, ValueError) as error:
        why = f"cannot be read ({getattr(error, 'strerror', None) or 'no such path'})"
    return _refuse(place, why, "a text file that this user may read is needed")


def _refuse(place: Path, found: str, allowed: str) -> NoReturn:
    raise ConfigurationError((Mistake(str(place), found, allowed),))
