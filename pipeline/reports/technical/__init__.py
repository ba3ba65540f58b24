"""The technical report: every disclosed estimate, with what it means, how it was made,
and why some are missing."""
