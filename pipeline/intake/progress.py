"""How far intake has come, for whoever waits: a word when a table is read or checked.

No value of a record is said.
"""

from collections.abc import Callable

Notify = Callable[[str], None]


def silent(text: str) -> None:
    """Nobody waits."""
