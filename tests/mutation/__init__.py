"""Whether the tests notice when a module is changed: see README.md."""
