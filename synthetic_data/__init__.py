"""An invented network of clinics whose records come with the truth behind them.

Imports schemas, nothing of the pipeline.
"""
