"""Turns events into messages and gets them delivered."""
