"""Pushes stored readings to a time-series database, at least once."""
