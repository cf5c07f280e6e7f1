"""Sensor parts on serial ports, one file a family."""
