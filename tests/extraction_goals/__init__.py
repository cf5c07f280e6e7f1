"""The goals of issue 5 for extraction that proves itself, measured on the core in simulated rooms."""
