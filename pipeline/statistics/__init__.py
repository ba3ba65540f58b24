"""Engines of statistics: from numbers to estimates, limits and refusals.

What a canal, a maneuver or a test is does not belong here.
"""
