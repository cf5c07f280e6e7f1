"""How much air a person breathes, by age and activity, and intake that is held to be acceptable.

All figures here are (from memory): title and units of the tables were seen, the tables were not.
"""

from bisect import bisect_right
from typing import NamedTuple

SOURCE = "US EPA, Exposure Factors Handbook 2011, chapter 6"
MARK = "from memory"
ACTIVITIES = ("sleep", "sedentary", "light", "moderate", "high")

_BY_ACTIVITY = {  # table 6-2, means, m³/min; by the first year of age
    6: (4.5e-3, 4.8e-3, 1.1e-2, 2.2e-2, 4.2e-2),
    11: (5.0e-3, 5.4e-3, 1.3e-2, 2.5e-2, 4.9e-2),
    16: (4.9e-3, 5.3e-3, 1.2e-2, 2.6e-2, 4.9e-2),
    21: (4.3e-3, 4.2e-3, 1.2e-2, 2.6e-2, 5.0e-2),
    31: (4.6e-3, 4.3e-3, 1.2e-2, 2.7e-2, 4.9e-2),
    41: (5.0e-3, 4.8e-3, 1.3e-2, 2.8e-2, 5.2e-2),
    51: (5.2e-3, 5.0e-3, 1.3e-2, 2.9e-2, 5.3e-2),
}
_LAST_WITH_ACTIVITY = 60

_BY_DAY = {  # table 6-1, means, m³/day; by the first year of age
    0: 5.4,
    1: 8.0,
    2: 8.9,
    3: 10.1,
    6: 12.0,
    11: 15.2,
    16: 16.3,
    21: 15.7,
    31: 16.0,
    41: 16.0,
    51: 15.7,
    61: 14.2,
    71: 12.9,
    81: 12.2,
}


class Breathing(NamedTuple):
    """An inhalation rate, m³/h, and what it is."""

    rate: float
    words: str


def breathing(age: int, activity: str) -> Breathing:
    """Give the mean inhalation rate, m³/h, of an age (years) at an activity.

    The handbook's rates by activity are here for 6 to 60 years; for other ages it is the mean over
    a whole day, whatever the activity. Raises ValueError for an age or activity that is none.
    Source: Exposure Factors Handbook 2011, tables 6-1 and 6-2 (from memory).
    """
    if not 0 <= age <= 120:
        raise ValueError(f"{age} is no age: 0 to 120 years are allowed")
    if activity not in ACTIVITIES:
        raise ValueError(f'"{activity}" is no activity: {", ".join(ACTIVITIES)} are')
    if min(_BY_ACTIVITY) <= age <= _LAST_WITH_ACTIVITY:
        row = _BY_ACTIVITY[_first_year(tuple(_BY_ACTIVITY), age)]
        rate = 60 * row[ACTIVITIES.index(activity)]
        return Breathing(rate, f"{activity} activity at {age} years, table 6-2")
    day = _BY_DAY[_first_year(tuple(_BY_DAY), age)]
    return Breathing(day / 24, f"mean over a day at {age} years, table 6-1")


def _first_year(years: tuple[int, ...], age: int) -> int:
    return years[bisect_right(years, age) - 1]


class Intake(NamedTuple):
    """An acceptable daily intake of a substance, pg per kg of body weight and day."""

    substance: str
    picograms: float
    source: str
    mark: str


BISPHENOL_A = Intake("bisphenol A", 200.0, "EFSA 2023, tolerable daily intake", "from memory")
"""200 pg/kg a day, for intake with food; mass breathed in beside it shows the size only."""
