"""Test prints under named conditions: marks, phases, and the figures of one print."""
