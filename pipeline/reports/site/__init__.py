"""A site's own page: its numbers beside the pool's, its lists, and what to record better.

It stays with the site.
"""
