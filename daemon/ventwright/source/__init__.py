"""Is anything emitting now, how strongly, when is it clear: tracked inside the core."""
