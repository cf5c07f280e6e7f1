"""The child process of plan.py: reads one file, writes a pickle of Settings or a list of mistakes.

Exit status: 0 and a pickle, or plan.REFUSED and JSON. Whatever else is printed goes to stderr.
"""

import contextlib
import dataclasses
import json
import os
import pickle
import sys
from pathlib import Path

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.plan import REFUSED


def answer(path: Path) -> tuple[int, bytes]:
    """Read the configuration and give the exit status and what is to be written."""
    from ventwright.settings.load import load

    try:
        return 0, pickle.dumps(load(path, os.environ))
    except ConfigurationError as error:
        mistakes = [dataclasses.asdict(mistake) for mistake in error.mistakes]
        return REFUSED, json.dumps(mistakes).encode()


def main() -> int:
    """Answer on the standard output that we were started with, and on nothing else."""
    # whoever asked may have been stopped meanwhile
    with contextlib.suppress(BrokenPipeError), os.fdopen(os.dup(1), "wb") as out:
        os.dup2(2, 1)  # a driver that prints must not spoil the answer
        status, text = answer(Path(sys.argv[1]))
        out.write(text)
        return status
    return 0


if __name__ == "__main__":
    sys.exit(main())
