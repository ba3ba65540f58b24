"""Contracts: what every table, estimate and configuration file of this project holds.

Imports pandas, pandera, pydantic only.
"""
