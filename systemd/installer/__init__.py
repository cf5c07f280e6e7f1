"""Installs, upgrades and removes Ventwright on a board; needs only the standard library."""
