"""Numbers, lengths and times as a report says them."""

from datetime import datetime
from math import floor, log10


def figure(value: float | None, unit: str = "") -> str:
    """Write a value with its unit to two digits or more, whole above 100; `not known` for none."""
    if value is None:
        return "not known"
    size = abs(value)
    if size >= 1e6:
        shown = f"{value:.2e}".replace("e+0", "e").replace("e+", "e")
    elif size >= 99.5 or value == 0:
        shown = f"{value:,.0f}".replace(",", " ")
    else:
        shown = f"{value:.{_decimals(size)}f}"
    return f"{shown} {unit}".rstrip()


def _decimals(size: float) -> int:
    """Tell how many decimals show two digits; 9.96 is 10."""
    return max(0, 1 - floor(log10(float(f"{size:.1e}"))))


def length(minutes: float | None) -> str:
    """Write a length of time: `25 min`, `3 h 05 min`, `4 d 2 h`."""
    if minutes is None:
        return "not known"
    whole = round(minutes)
    if whole < 60:
        return f"{whole} min"
    if whole < 2 * 24 * 60:
        return f"{whole // 60} h {whole % 60:02d} min"
    return f"{whole // 1440} d {whole % 1440 // 60} h"


def when(text: str) -> str:
    """Write a time (ISO 8601) as `Tuesday 22 Sep, 14:05`."""
    moment = datetime.fromisoformat(text)
    return f"{moment:%A} {moment.day} {moment:%b, %H:%M}"


def hour_of(text: str) -> str:
    """Write an hour (ISO 8601 of its beginning): `Tuesday 22 Sep, 14 to 15 h`."""
    moment = datetime.fromisoformat(text)
    return f"{moment:%A} {moment.day} {moment:%b}, {moment.hour} to {moment.hour + 1} h"


def share(part: float) -> str:
    """Write a share as `83 %`; never 100 % or 0 % for almost."""
    percent = 100 * part
    if 0 < percent < 0.1:
        return "below 0.1 %"
    if 99.9 < percent < 100:
        return "over 99.9 %"
    return f"{percent:.1f} %" if 99.5 <= percent < 100 or 0 < percent < 0.5 else f"{percent:.0f} %"


def several(number: int, one: str, many: str = "") -> str:
    """Write `1 alarm`, `3 alarms`, `no alarms`."""
    return f"{number or 'no'} {one if number == 1 else many or one + 's'}"
