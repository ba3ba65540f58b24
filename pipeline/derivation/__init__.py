"""The exact rows that a model sees: spells and attempts."""
