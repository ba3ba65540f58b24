"""One stored episode in words, for `./run explain`."""
