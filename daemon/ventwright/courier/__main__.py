"""Runs the courier until it is told to stop: `python -m ventwright.courier --config FILE`."""

import argparse
import logging
import os
import sys
from pathlib import Path

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.plan import read_settings


def main() -> int:
    """Run; leaves with status 2 if the configuration or a secret cannot be used."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    parser = argparse.ArgumentParser(prog="ventwright.courier")
    parser.add_argument("--config", type=Path, required=True)
    words = parser.parse_args()
    try:
        settings = read_settings(words.config)
        from ventwright.courier.main import run_courier

        run_courier(settings, os.environ)
    except (ConfigurationError, ValueError) as error:
        sys.stderr.write(f"{error}\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())
