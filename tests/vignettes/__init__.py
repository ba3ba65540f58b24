"""Invented single episodes, each written from a published description by somebody who knew the form
of a delivery and the sources, and no rule of ours: an outside check of the verdicts.

Those of S05, of what version 2 of the dictionary adds, were written before the rules that read
them, by who wrote these.

Nobody in them exists. Each has its source and two readings, worded apart; where the readings
differ, or the published definitions do, it is disputed and counted apart.
"""
