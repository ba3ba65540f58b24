"""What sites share, and how far they differ."""
