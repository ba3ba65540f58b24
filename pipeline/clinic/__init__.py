"""What looks and maneuvers mean: the clinical rules, read from the configuration."""
