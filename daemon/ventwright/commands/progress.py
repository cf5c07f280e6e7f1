"""Shows what a command is busy with, in one line that the next one replaces, on a terminal only.

Knows nothing of what it shows.
"""

import os
import sys

import click

_CLEAR = "\r\x1b[K"
_UNKNOWN = 80  # a serial console says that it has no columns


def progress(text: str) -> None:
    """Show `text` in place of what was shown before; "" clears the line. A file gets nothing."""
    if sys.stderr.isatty():
        width = os.get_terminal_size(sys.stderr.fileno()).columns or _UNKNOWN
        click.echo(f"{_CLEAR}{text[: width - 1]}", nl=False, err=True)
