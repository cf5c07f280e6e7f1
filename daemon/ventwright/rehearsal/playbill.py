"""All scenarios that can be rehearsed, and the visits that belong to them."""

from collections.abc import Callable

from ventwright.rehearsal.scenario import DEFAULT, Scenario
from ventwright.rehearsal.test_prints import TEST_PRINTS, visit
from ventwright.rehearsal.visitor import Visitor

SCENARIOS: dict[str, Scenario] = {s.name: s for s in (DEFAULT, TEST_PRINTS)}

VISITS: dict[str, Callable[[Visitor], None]] = {TEST_PRINTS.name: visit}
"""What somebody does while a scenario is played, by its name."""
