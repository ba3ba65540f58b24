"""Deliveries as clinics might send them, made up to be tried on the intake from outside.

Four kinds: deliveries with something planted that identifies a person, clean ones, ones with a
coordinator's slips, and whole first files. `python -m tests.corpus` tries them and counts. Half of
each corpus stands here, chosen by a hash of each entry (`half.py`); the other half is kept outside
of the repository and read with `--held`.

All persons, numbers and clinics are invented. Numbers of registers are drawn at random in the
published form of each country's number (forms from memory); their check digits are not computed.
"""
