"""How well two colors can be told apart."""

import numpy as np


def luminance(color: str) -> float:
    """Relative luminance, W3C Web Content Accessibility Guidelines 2.2,
    definition of 'relative luminance'."""
    parts = np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio, same source: from 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
