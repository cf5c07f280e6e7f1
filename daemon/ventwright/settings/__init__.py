"""The configuration: what may be written, how it is checked."""
