"""Writes calibrations into a configuration that is there, leaving all else as it is."""

import os
import re
from collections.abc import Mapping
from pathlib import Path

from ventwright.settings.errors import ConfigurationError, Mistake
from ventwright.settings.model import Calibration
from ventwright.settings.replacing import replace
from ventwright.settings.source import read_file

_OURS = re.compile(r"\s*(offset|slope)\s*=")


def write(
    path: Path,
    part: str,
    calibrations: Mapping[str, Calibration],
    remark: str,
    environ: Mapping[str, str],
) -> None:
    """Write the calibrations (by quantity) of a part, in place of those that are there.

    Remarks and everything else stay; `remark` stands before what is new. The whole is checked
    before the file is replaced at one stroke. Raises ConfigurationError, the file being unchanged.
    """
    real = Path(os.path.realpath(path))
    text = read_file(real)[1]
    for quantity, calibration in calibrations.items():
        text = _with(text, part, quantity, calibration, remark)
    try:
        replace(real, text, environ)
    except OSError as error:
        mistake = Mistake(
            str(path), f"cannot be written ({error.strerror})", "write access is needed"
        )
        raise ConfigurationError((mistake,)) from error


def _with(text: str, part: str, quantity: str, calibration: Calibration, remark: str) -> str:
    keys = [f"offset = {calibration.offset!r}", f"slope = {calibration.slope!r}"]
    lines = text.split("\n")
    header = _header(part, quantity)
    place = next((n for n, line in enumerate(lines) if header.match(line)), None)
    if place is None:
        name = f"[parts.{part}.calibration.{quantity}]"
        return "\n".join([text.rstrip("\n"), "", f"# {remark}", name, *keys, ""])
    after = lines[place + 1 :]
    end = next((n for n, line in enumerate(after) if line.lstrip().startswith("[")), len(after))
    kept = [line for line in after[:end] if not _OURS.match(line)]
    return "\n".join([*lines[: place + 1], *keys, *kept, *after[end:]])


def _header(part: str, quantity: str) -> re.Pattern[str]:
    keys = ("parts", part, "calibration", quantity)
    dotted = r"\s*\.\s*".join(f"[\"']?{re.escape(key)}[\"']?" for key in keys)
    return re.compile(rf"\s*\[\s*{dotted}\s*\]")
