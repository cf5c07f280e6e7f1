"""How well two parts side by side agree, and what would make one read like the other."""
