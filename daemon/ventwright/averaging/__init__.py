"""The averages that published limits are made for, from what the store holds."""
