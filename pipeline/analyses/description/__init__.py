"""Counts and shares without a model: where the episodes went, who is in the pool,
the cases kept apart, whom each number is of."""
