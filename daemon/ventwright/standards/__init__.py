"""Published formulas, each with its source: indexes, shift averages, humidity, units of gases."""
