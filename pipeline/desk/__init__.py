"""A coordinator's desk without a terminal: a page that this machine serves to its own browser.

It says what the check says, in the same words, and works on copies that are wiped.
"""
