"""Which counts a printed percentage can stand for."""


def list_counts(percent: float, total: int, decimals: int = 0) -> list[int]:
    """All counts out of `total` that print as `percent`, halves rounded up or down."""
    half = 0.5 * 10.0**-decimals + 1e-9
    return [count for count in range(total + 1) if abs(100 * count / total - percent) <= half]


def count_printed(percent: float, total: int, decimals: int = 0) -> int:
    """The only count out of `total` that prints as `percent`; a ValueError where none or several
    do."""
    (count,) = list_counts(percent, total, decimals)
    return count
