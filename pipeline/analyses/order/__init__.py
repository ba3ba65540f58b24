"""Which maneuver after which: the paths taken, and repeating against changing after a failed first
session."""
