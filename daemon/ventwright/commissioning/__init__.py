"""Measures this room once: background, loss rates, clearance; from a walk, past episodes or a file."""
