"""Measures this room once: background, loss rates, clearance; by a walk or from a record."""
