"""What a single treatment session does, and why first maneuvers may have failed."""
