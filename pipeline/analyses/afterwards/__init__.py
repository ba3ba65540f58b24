"""After resolution: recurrence of positional vertigo, and the course of the handicap."""
