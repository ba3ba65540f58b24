"""One short file for each rule of the workflow, of the same name."""
