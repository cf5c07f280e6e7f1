"""Tells systemd that the keeper is ready and still making progress: one datagram each."""

import contextlib
import os
import socket


def tell_systemd(message: str) -> None:
    """Send READY=1, WATCHDOG=1 or STATUS=... to NOTIFY_SOCKET, if there is one."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
        sender.sendto(message.encode(), address.replace("@", "\0", 1))
