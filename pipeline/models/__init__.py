"""Statistical models: pure functions from the rows of a table to estimates."""
