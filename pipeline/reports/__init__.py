"""What people read: words, figures and pages from disclosed estimates.

Templates lie in the folder reports at the top.

No model runs here, and only the page of a site sees patients, its own.
"""
