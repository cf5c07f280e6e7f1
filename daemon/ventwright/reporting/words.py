"""Numbers, lengths and times as a report says them."""

from datetime import datetime


def figure(value: float | None, unit: str = "") -> str:
    """Write a value with its unit: one decimal below 10, whole above, `not known` for none."""
    if value is None:
        return "not known"
    size = abs(value)
    if size >= 1e6:
        shown = f"{value:.2e}".replace("e+0", "e").replace("e+", "e")
    elif size >= 99.5 or value == 0:
        shown = f"{value:,.0f}".replace(",", " ")
    elif size >= 9.95:
        shown = f"{value:.0f}"
    else:
        shown = f"{value:.1f}" if size >= 0.95 else f"{value:.2g}"
    return f"{shown} {unit}".rstrip()


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
    if 99.5 <= percent < 100 or 0 < percent < 0.5:
        return f"{percent:.1f} %" if 0.05 <= percent < 99.95 else f"{percent:.2f} %"
    return f"{percent:.0f} %"


def several(number: int, one: str, many: str = "") -> str:
    """Write `1 alarm`, `3 alarms`, `no alarms`."""
    return f"{number or 'no'} {one if number == 1 else many or one + 's'}"
