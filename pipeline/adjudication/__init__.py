"""What tests and maneuvers mean: the clinical rules, read from the configuration,
and one verdict for each episode."""
