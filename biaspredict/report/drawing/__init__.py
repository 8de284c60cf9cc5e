"""A stage drawn from its text alone, each node at the height of its voltage among the others."""
