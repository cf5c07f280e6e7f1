"""What a person in the room took in: shift means, inhaled mass, share of a guideline."""
