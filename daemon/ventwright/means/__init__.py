"""Rolling means, and what this room shows when nothing emits."""
