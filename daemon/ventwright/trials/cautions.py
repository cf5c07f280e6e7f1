"""What has to be said beside the figures of a print."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ventwright.trials.balance import HOMES, Balance
from ventwright.trials.series import Series
from ventwright_drivers.registry import load

if TYPE_CHECKING:
    from ventwright.trials.printing import Known

ULTRAFINE = (
    "Optical parts do not see ultrafine particles, which printers emit most of: these figures are "
    "of the mass that the part sees, and a low one is no proof of clean air."
)
CALIBRATION = (
    "The interval holds noise, loss rate and volume; not what the part reads too high or too low "
    "throughout, which matters less where prints are compared with one another by the same part."
)
NO_EXCEEDING = (
    "A minute above a value does not exceed the limit: that holds over its own averaging time."
)
_CLEAR_LEAD = 2.0
_GAPS = 0.98


def cautions(
    series: Series, made: Balance | None, about: "Known", wrong: Sequence[str]
) -> tuple[str, ...]:
    """List the sentences; the least obvious first."""
    found = list(wrong)
    if any(m.extracting for m in series.within(series.print)):
        found.append(
            "The extractor ran during the print: the total leans on the loss rates with and "
            "without it, and on both having the same background."
        )
    if made is not None and HOMES in made.rates.values():
        found.append(
            "Its own decay is too weak to tell how fast this room loses particles, so the rate is "
            "that of homes at large: stronger prints, or `ventwright commission`, narrow it down."
        )
    if about.trial.resumed:
        found.append("It was interrupted and resumed.")
    if about.coverage < _GAPS:
        found.append(f"Good readings cover {100 * about.coverage:.0f} % of it.")
    if made is not None and abs(made.background.lead) > _CLEAR_LEAD:
        found.append(
            f"The air was {abs(made.background.lead):.1f} {about.quantity.unit} from its own level "
            "when the background began: flush longer, or wait longer before printing."
        )
    if load(about.part.driver).optical_mass:
        found.append(ULTRAFINE)
    return (*found, CALIBRATION)
