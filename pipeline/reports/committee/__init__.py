"""The committee's report: disclosed estimates become the sentences,
tables and figures of one page."""
