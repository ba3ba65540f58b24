"""What people run at a terminal: one module a tool, with `add_to` for its command line and `run` for its work."""
