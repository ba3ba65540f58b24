"""Intake: what a site handed in becomes typed rows, or problems that say what to mend.

The only place where text becomes a type.
"""
