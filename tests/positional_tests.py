"""Positional tests as rows of an episode: what a typical one shows, vertigo alone,
nothing at all."""

import pandas as pd

EARS = ("right", "left")
OTHER = {"right": "left", "left": "right"}
SIDED_TESTS = ("dix_hallpike", "side_lying", "half_dix_hallpike", "supine_roll")
MIDLINE_TESTS = ("straight_head_hang", "nose_down", "sitting_up", "bow", "lean", "lying_down")
POSITIONS = [(test, ear) for test in SIDED_TESTS for ear in EARS] + [
    (test, "none") for test in MIDLINE_TESTS
]


def quiet(test: str = "dix_hallpike", side: str = "right", **more) -> dict:
    """A test with neither nystagmus nor vertigo."""
    return {"test": test, "side": side} | more


def dizzy(test: str = "dix_hallpike", side: str = "right", **more) -> dict:
    """A test with vertigo and no nystagmus."""
    return {"test": test, "side": side, "vertigo": "moderate"} | more


def upbeat(side: str = "right", seconds=20, test: str = "dix_hallpike", **more) -> dict:
    """Up-beating nystagmus with torsion toward the lower ear;
    no `seconds` where it was not timed."""
    duration = pd.NA if seconds is None else seconds
    return dizzy(test, side, vertical="up", torsion=side, duration_s=duration) | more


def downbeat(
    test: str = "straight_head_hang", side: str = "none", torsion: str = "none", seconds=20, **more
) -> dict:
    """Down-beating nystagmus, with torsion toward an ear or without."""
    duration = pd.NA if seconds is None else seconds
    return dizzy(test, side, vertical="down", torsion=torsion, duration_s=duration) | more


def rising(torsion: str = "right", **more) -> dict:
    """Up-beating nystagmus with torsion on sitting up."""
    return dizzy("sitting_up", "none", vertical="up", torsion=torsion) | more


def rolled(direction: str = "geotropic", right=60, left=20, seconds=20, **more) -> list[dict]:
    """Both sides of the supine roll test with the greatest velocity of each;
    `None` where it was not measured."""
    return [
        roll_to(ear, direction, speed, seconds, **more)
        for ear, speed in (("right", right), ("left", left))
    ]


def roll_to(ear: str, direction: str = "geotropic", speed=30, seconds=20, **more) -> dict:
    """One side of the supine roll test."""
    seen = {"horizontal": direction, "peak_spv": pd.NA if speed is None else speed}
    return dizzy("supine_roll", ear, duration_s=pd.NA if seconds is None else seconds) | seen | more


def quiet_roll(**more) -> list[dict]:
    """Both sides of the supine roll test with nothing."""
    return [quiet("supine_roll", ear, **more) for ear in EARS]


def dizzy_roll(**more) -> list[dict]:
    """Both sides of the supine roll test with vertigo alone."""
    return [dizzy("supine_roll", ear, **more) for ear in EARS]


def sign(test: str, beats: str, **more) -> dict:
    """A tie-breaking sign of the lateral canal that beats toward an ear, or does not beat."""
    return {"test": test, "side": "none", "horizontal": beats} | more
