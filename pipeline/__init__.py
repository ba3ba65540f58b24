"""From delivered tables to estimates and pages.

Rooms import only from rooms below them; see DEVELOPERS.md.
"""

__version__ = "0.9.0"
