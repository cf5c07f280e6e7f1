"""Finds out what is plugged in, without moving a contact or changing what a part has stored."""
