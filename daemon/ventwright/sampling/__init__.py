"""Poller threads and relay threads between the wires and the core."""
