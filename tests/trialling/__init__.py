"""Simulated test prints of known emission, and how often the analysis is right about them."""
