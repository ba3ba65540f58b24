"""The project's own Python environment, `.venv`.

Nothing but Python's own library, since this runs before anything is installed.
"""
