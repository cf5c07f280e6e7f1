"""All scenarios that can be rehearsed, and the visits that belong to them."""

from collections.abc import Callable

from ventwright.rehearsal import commissioning, prints
from ventwright.rehearsal.scenario import DEFAULT, Scenario
from ventwright.rehearsal.visitor import Visitor

SCENARIOS: dict[str, Scenario] = {
    s.name: s for s in (DEFAULT, prints.TEST_PRINTS, commissioning.COMMISSIONING)
}

VISITS: dict[str, Callable[[Visitor], None]] = {
    prints.TEST_PRINTS.name: prints.visit,
    commissioning.COMMISSIONING.name: commissioning.visit,
}
"""What somebody does while a scenario is played, by its name."""
