"""The goals for extraction that proves itself, measured on the core in simulated rooms."""
