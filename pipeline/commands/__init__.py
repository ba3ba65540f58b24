"""What people run at a terminal: one module a command, with `add_to` for its command line and `run`
for its work."""
