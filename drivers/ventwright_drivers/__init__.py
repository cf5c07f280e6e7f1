"""Parts on wires: bytes, buses and units. Knows nothing of rooms, rules or files."""
