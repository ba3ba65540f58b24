"""What would change the answers: other choices of the analyst,
and other programs on the same rows."""
