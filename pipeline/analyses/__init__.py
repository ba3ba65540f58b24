"""The analyses of the plan, a folder a question: from derived rows to estimates as
schemas/estimate.py has them.

Estimators that know no vertigo belong in pipeline/statistics; what may leave is decided in
pipeline/disclosure; words for people in pipeline/reports.
"""
