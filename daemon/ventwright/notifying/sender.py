"""Gives one message to one service through apprise, which is loaded for the first one.

Every delivery gets a service object of its own: a kept one would wait between messages by the
wall clock, and sleep for an hour when that is set back.
"""

import logging
import re
import warnings
from functools import cache
from typing import Any

from ventwright.courier.hiding import Hider, pieces

TIMEOUT_S = 20.0
_NAMED = re.compile(r"([a-z0-9_-]+):\s+(\S.*)")
_KINDS = {"high": "failure", "medium": "warning", "low": "info"}


@cache
def _load_library() -> None:
    """Load apprise and all its kinds of services, which comes with the first address.

    What it would log shows addresses, tokens included; its reasons come back with each result.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        from apprise import Apprise

        Apprise("json://localhost")
    logging.getLogger("urllib3").setLevel(logging.CRITICAL)
    logging.getLogger("apprise").setLevel(logging.WARNING)
    logging.getLogger("apprise").propagate = False


class Service:
    """An address to which messages go; its repr and its reasons do not show the address."""

    def __init__(self, place: int, line: str) -> None:
        """Take a line `address` or `name: address` at a place of the list, counted from 1."""
        named = _NAMED.fullmatch(line)
        self.label, address = named.groups() if named else ("", line)
        self._address = address
        self._hider = Hider({address, *pieces(address)})
        self.name = f"{place} {address.partition(':')[0]}"
        """The place and the kind of the service: `1 mailto`. `label` is what the line calls it."""

    def __repr__(self) -> str:
        return f"Service({self.name})"

    def _open(self) -> Any:
        _load_library()
        from apprise import Apprise, AppriseAsset

        asset = AppriseAsset(
            app_id="Ventwright",
            app_desc="Ventwright",
            app_url="",
            image_url_mask="",
            image_url_logo="",
            secure_logging=True,
        )
        service = Apprise(asset=asset)
        return service if service.add(self._address) and len(service) == 1 else None

    def is_understood(self) -> bool:
        """Tell whether the address means anything to apprise."""
        return self._open() is not None

    def send(self, title: str, body: str, priority: str, timeout: float = TIMEOUT_S) -> str:
        """Deliver within `timeout` s; return nothing if it was taken, else the reason."""
        service = self._open()
        if service is None:
            return "the address is not understood"
        kind = _KINDS.get(priority, "warning")
        result = service.notify(
            body=body, title=title, notify_type=kind, body_format="text", timeout=timeout
        )
        if result:
            return ""
        told = [entry.message for entry in result.logs()]
        return self._hider.hide(f"{result.status.name.lower()}: {told[-1] if told else ''}")


def services_of(addresses: list[str]) -> list[Service]:
    """Make the services of a list of addresses; raises ValueError naming those not understood."""
    made = [Service(place, address) for place, address in enumerate(addresses, 1)]
    wrong = [service.name for service in made if not service.is_understood()]
    if wrong:
        raise ValueError(f"phone: not an address of a known kind of service: {', '.join(wrong)}")
    return made
