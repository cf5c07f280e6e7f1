"""Refuses in one sentence what could not do its job: a store or a secret out of reach."""

import contextlib
import errno
import getpass
import os
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

import click

from ventwright.commands.options import fail
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.model import Settings
from ventwright.settings.secrets import (
    CREDENTIALS,
    DATABASE_TOKEN,
    PHONE_SERVICES,
    secret,
    service_addresses,
)
from ventwright.storage.schema import store_path

_FULL = (errno.ENOSPC, errno.EDQUOT)
"""A full disk is no reason to refuse: the air is watched and the fan is run without it."""


def _missing(folder: Path) -> list[Path]:
    """List the folder and those above it that are not there, the deepest first."""
    return [place for place in (folder, *folder.parents) if not place.exists()]


def _try(folder: Path) -> None:
    """Make and remove a file in the folder, and the folder too if need be; raises OSError."""
    made = _missing(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    finally:
        with contextlib.suppress(OSError):
            for place in made:
                place.rmdir()
    for file in folder.glob(f"{store_path(folder).name}*"):
        if not os.access(file, os.R_OK | os.W_OK):
            raise PermissionError(errno.EACCES, f"{os.strerror(errno.EACCES)}: {file.name}")


def store_trouble(folder: Path) -> str:
    """Say why nothing can be kept in the folder, and what to do; empty if all is well."""
    try:
        _try(folder)
    except OSError as error:
        if error.errno not in _FULL:
            return (
                f"Nothing can be kept in {folder} ({error.strerror or error}): give the folder to "
                f"this user by `sudo install -d -o {_user()} {folder}`, or name another one as "
                "folder under [store]."
            )
    return ""


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "USER"


def secret_troubles(settings: Settings, environ: Mapping[str, str]) -> str:
    """Say which secret files are of no use, a line each; empty if all is well."""
    asked: list[Callable[[], object]] = []
    if database := settings.database:
        asked.append(lambda: secret(DATABASE_TOKEN, database.token_file, environ))
    if phone := settings.phone:
        asked.append(lambda: service_addresses(phone.services_file, environ))
    return "\n".join(filter(None, map(_trouble, asked)))


def _trouble(ask: Callable[[], object]) -> str:
    try:
        ask()
    except ConfigurationError as error:
        return str(error)
    return ""


def as_installed(config: Path) -> Mapping[str, str]:
    """Give the environment with the secrets that systemd hands over, for who may read them: root.

    They lie beside the configuration.
    """
    return os.environ if os.geteuid() else {CREDENTIALS: str(config.parent), **os.environ}


def nobody(settings: Settings, environ: Mapping[str, str]) -> str:
    """Say why nobody is told, if that is so; raises ConfigurationError for an unusable secret."""
    if settings.phone is None:
        return "the configuration has no [phone]"
    file = settings.phone.services_file
    if service_addresses(file, environ):
        return ""
    folder = environ.get(CREDENTIALS)
    place = file or (folder and Path(folder) / PHONE_SERVICES)
    return f"{place} names no service" if place else "[phone] has no services_file"


def whom(settings: Settings, environ: Mapping[str, str]) -> str:
    """Say which services are told, as far as this user may know; end with 2 for a wrong address."""
    phone = settings.phone
    if reason := nobody(settings, environ):
        unknown = phone and not phone.services_file and CREDENTIALS not in environ
        return "" if unknown else f"Nobody is told: {reason}."
    from ventwright.notifying.sender import services_of

    found = service_addresses(phone.services_file if phone else None, environ)
    try:
        services = services_of([address.reveal() for address in found])
    except ValueError as error:
        click.echo(str(error), err=True)
        sys.exit(2)
    return f"Messages go to {', '.join(service.name for service in services)}."


def refuse_secrets(settings: Settings, environ: Mapping[str, str]) -> None:
    """End with status 2 if a secret that is needed cannot be read."""
    if troubles := secret_troubles(settings, environ):
        click.echo(troubles, err=True)
        sys.exit(2)


def refuse_store(settings: Settings) -> None:
    """End with status 1 if nothing can be kept."""
    if trouble := store_trouble(settings.store.folder):
        fail(trouble)
