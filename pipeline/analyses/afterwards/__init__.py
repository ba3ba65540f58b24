"""After resolution: return of positional vertigo, and the course of the handicap."""
