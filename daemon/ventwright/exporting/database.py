"""One synchronous write to a database with the version 2 line-protocol interface.

The client library is loaded with the first write. Its own batching and retrying stay unused:
they lose data (shown in the notes on reliability, section 7).
"""

import logging
import sys
from functools import cache
from typing import Any
from urllib.parse import unquote, urlsplit, urlunsplit

from ventwright.courier.hiding import Hider
from ventwright.exporting.backoff import asked_ms
from ventwright.exporting.errors import Refused, Unavailable
from ventwright.settings.model import Database

_REFUSALS = frozenset((400, 406, 413, 422))
_WRITTEN = 204
_TIMEOUT_MS = 10_000
_LONGEST_REASON = 500


def _is_no_answer(record: logging.LogRecord) -> bool:
    """Keep the client library from logging answers of servers, which may repeat a secret."""
    return "Cannot parse error response" not in str(record.msg)


@cache
def _load_library() -> None:
    """Load the client library without numpy, 12 MB that writing text has no use for."""
    hidden = "numpy" not in sys.modules
    if hidden:
        sys.modules["numpy"] = None  # type: ignore[assignment]
    try:
        import influxdb_client  # noqa: F401
    finally:
        if hidden:
            del sys.modules["numpy"]


def split_address(url: str) -> tuple[str, str]:
    """Split an address into the address without a user, and `user:password` or nothing."""
    parts = urlsplit(url)
    user, at, place = parts.netloc.rpartition("@")
    return urlunsplit(parts._replace(netloc=place)), unquote(user) if at else ""


class _Closed(Unavailable):
    """The connection was closed before an answer came."""


class DatabaseWriter:
    """Writes batches of lines; its errors and its repr show no secret."""

    def __init__(self, options: Database, token: str | None, timeout: int = _TIMEOUT_MS) -> None:
        """Remember where to write; a request is given up after `timeout` ms."""
        self._options = options
        self._address, self._user = split_address(options.url)
        self._token = token
        self._timeout = timeout
        user, _, password = self._user.partition(":")
        self._hider = Hider([token or "", self._user, user, password, *self._raw_user(options.url)])
        self._client: Any = None
        self._api: Any = None
        self._kept = False
        """Whether the connection was kept since an answer: the server may have closed it since."""

    @staticmethod
    def _raw_user(url: str) -> list[str]:
        raw = urlsplit(url).netloc.rpartition("@")[0]
        return [raw, *raw.split(":")]

    def _open(self) -> None:
        from influxdb_client.client.influxdb_client import InfluxDBClient
        from influxdb_client.client.write_api import SYNCHRONOUS

        logging.getLogger().addFilter(_is_no_answer)
        basic = {"token": self._user, "auth_basic": True}
        known = basic if self._user and not self._token else {"token": self._token}
        self._client = InfluxDBClient(
            url=self._address, org=self._options.organisation, timeout=self._timeout, **known
        )
        self._api = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: bytes) -> None:
        """Write lines, times in ms; returns once the server has answered that it has them.

        Raises Refused if they are at fault, Unavailable in every other case. Where a connection was
        kept that the server has closed meanwhile, as all do in time, the lines are sent once more.
        """
        kept, self._kept = self._kept, False
        try:
            self._send(lines)
        except _Closed:
            if not kept:
                raise
            self._send(lines)
        self._kept = True

    def _send(self, lines: bytes) -> None:
        _load_library()
        from http.client import HTTPException

        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError, ProtocolError

        try:
            if self._client is None:
                self._open()
            options = self._options
            self._api.write(options.bucket, options.organisation, lines, write_precision="ms")
            status = self._client.api_client.last_response.status
        except ApiException as error:
            raise self._judged(error) from None
        except (HTTPError, HTTPException, OSError, ValueError) as error:
            kind = _Closed if isinstance(error, ProtocolError) else Unavailable
            raise kind(self._hider.hide(f"{type(error).__name__}: {error}")) from None
        if status != _WRITTEN:
            raise Unavailable(f"answered {status} where 204 was due")

    def _judged(self, error: Any) -> Exception:
        told = self._hider.hide(f"{error.status}: {error.message or error.reason}")
        reason = told[:_LONGEST_REASON]  # a proxy may answer with a whole page
        if error.status in _REFUSALS:
            return Refused(reason, error.status)
        return Unavailable(reason, asked_ms(error.headers or {}))

    def close(self) -> None:
        """Close the connections."""
        client, self._client = self._client, None
        if client is not None:
            self._api.close()
            client.close()
