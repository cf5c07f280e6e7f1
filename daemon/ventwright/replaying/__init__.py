"""Plays recorded data through the core again, with the rules that were in force or with others."""
