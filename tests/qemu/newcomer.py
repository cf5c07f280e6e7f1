"""Has the board build all of it itself, as a newcomer would: `cd tests && python -m qemu.newcomer`.

Tells how long the one command takes and what it says. Needs root; many minutes without hardware
acceleration.
"""

import tempfile
import time
from pathlib import Path

from qemu.workshop import DUST, Workshop, build


def main() -> None:
    """Build a board, install on it and show what was said."""
    with tempfile.TemporaryDirectory() as name:
        build(Path(name), prebuilt=False)
        shop = Workshop(Path(name))
        try:
            print(f"booted in {shop.boot(plugged=(DUST,)):.0f} s")
            begun = time.monotonic()
            said = shop.install()
            print(
                f"installed in {time.monotonic() - begun:.0f} s, status {said.status}\n{said.text}"
            )
            print(shop.type("ventwright status; du -sh /opt/ventwright").text)
        finally:
            shop.close()


if __name__ == "__main__":
    main()
