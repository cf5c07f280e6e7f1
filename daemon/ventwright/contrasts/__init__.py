"""Compares conditions of trials: ratios with intervals, tests, repeats needed; knows no store."""
