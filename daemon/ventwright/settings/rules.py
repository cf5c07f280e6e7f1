"""What the types of the model do not say: units, shortest and longest times, advice."""

from ventwright.settings.describe import Bounds
from ventwright.settings.model import DAY, HOUR, MINUTE, SECOND

UNITS = {
    "extractors.slowest": "1/min",
    "room.volume": "m³",
    "people.weight": "kg",
    "people.age": "years",
    "store.most_megabytes": "MB",
}
"""Units of fields whose unit is always the same."""

_YEAR = 365 * DAY

BOUNDS: dict[str, Bounds] = {
    "store.commit_every": (SECOND, 55 * SECOND),
    "store.keep_readings": (2 * DAY, 100 * _YEAR),
    "store.keep_minutes": (2 * DAY, 100 * _YEAR),
    "store.keep_hours": (2 * DAY, 100 * _YEAR),
    "store.keep_events": (30 * DAY, 100 * _YEAR),
    "relays.repeat_every": (SECOND, HOUR),
    "extractors.blind_after": (10 * SECOND, DAY),
    "extractors.minimum_on": (0, DAY),
    "extractors.minimum_off": (0, DAY),
    "extractors.run_on": (0, DAY),
    "extractors.longest_run": (MINUTE, 30 * DAY),
    "extractors.rest": (MINUTE, DAY),
    "alarms.over": (SECOND, 7 * DAY),
    "alarms.on_delay": (0, DAY),
    "alarms.off_delay": (0, DAY),
    "alarms.ahead": (0, HOUR),
    "alarms.settled": (0, DAY),
    "database.push_every": (SECOND, DAY),
    "phone.too_old": (MINUTE, 30 * DAY),
    "priorities.repeat_every": (MINUTE, 7 * DAY),
}
"""The shortest and longest allowed durations. Readings uncommitted for a minute would break
the promise that at most 60 s of them are at risk."""

HINTS = {
    "room.volume": "length x width x height of the room",
    "extractors.when_blind": 'usually "on": with no trustworthy data keep extracting, except where '
    "extraction pulls conditioned air or flue gases",
    "store.folder": 'usually "/var/lib/ventwright"',
    "parts.kappa": "0.4 is usual for outdoor air",
    "parts.offset": "in the channel's unit",
    "parts.slope": "1 leaves the values as they are",
    "parts.port": "look under /dev/serial/by-path for a name that survives replugging",
}

SECRET_ADVICE = {
    "database": "put it alone into a file named under database.token_file, "
    "or hand it over as the systemd credential database-token",
    "phone": "put it into the file named under phone.services_file, "
    "or hand it over as the systemd credential phone-services",
}
"""Where a secret belongs, by section."""
