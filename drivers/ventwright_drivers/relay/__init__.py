"""Relay boards and lines that switch an extractor, one file a kind, and its fan's tachometer."""
