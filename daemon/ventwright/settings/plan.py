"""How the keeper gets its settings without the memory of the library that checks them.

A child process reads and checks the file, hands the plain result over and ends.
"""

import json
import pickle
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from ventwright.settings.errors import ConfigurationError, Mistake
from ventwright.settings.model import Settings

REFUSED = 2
"""Exit status of the child when the configuration has mistakes."""

_LONGEST_S = 60


def read_settings(path: Path, environ: Mapping[str, str] | None = None) -> Settings:
    """Read and check the configuration in a child process, within 60 s; raises ConfigurationError.

    `environ` replaces the environment, which overrides the file (see load.py).
    """
    command = [sys.executable, "-P", "-m", "ventwright.settings.child", str(path)]
    try:
        done = subprocess.run(  # noqa: S603 - our own module
            command, stdout=subprocess.PIPE, env=environ, timeout=_LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        raise _broken(path, f"was not read within {_LONGEST_S} s") from None
    except (OSError, ValueError) as error:
        raise _broken(path, f"was not read: no child process ({type(error).__name__})") from None
    return _answer(path, done.returncode, done.stdout)


def _answer(path: Path, status: int, answer: bytes) -> Settings:
    if status == 0:
        settings: Settings = pickle.loads(answer)  # noqa: S301 - written by our own child
        return settings
    if status == REFUSED:
        raise ConfigurationError(tuple(Mistake(**one) for one in json.loads(answer)))
    raise _broken(path, f"was not read: the child process ended with status {status}")


def _broken(path: Path, found: str) -> ConfigurationError:
    allowed = "the file is checked by `python -m ventwright.settings.child`"
    return ConfigurationError((Mistake(str(path), found, allowed, "its output above says more"),))
