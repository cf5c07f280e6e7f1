"""Sensor parts on I2C buses, one file a family."""
