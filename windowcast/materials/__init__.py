"""Active ingredients, rates, tank sheets and rotation of modes of action."""
