"""Releases that are kept: written once, proved to be unchanged, and compared with each other."""
