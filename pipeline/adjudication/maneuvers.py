"""Whether the maneuver that was given suits what the tests allow: by canal, side,
arm and mechanism, and as a whole."""

from collections.abc import Iterable

import pandas as pd

from schemas.columns import Frame
from schemas.delivery import Treatments
from schemas.derived import Adjudications
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

ASPECTS = ("canal", "side", "arm", "mechanism")
FITS = [*(f"fits_{aspect}" for aspect in ASPECTS), "fit"]
ALL_UNKNOWN = "unknown/unknown/unknown/unknown"
MOVES_NOTHING = ("observation", "sham")  # is meant to move no debris
# a sham turns the head like a maneuver, which alone can tire the response to the next test
# (from memory): only after observation is a test as telling as before
HEAD_AT_REST = ("observation",)


def judge_fit(
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    maneuvers: dict[str, Maneuver],
) -> pd.DataFrame:
    """Judge whether each treatment suits what the tests allow.

    A variant is suited with its canal, side, arm and mechanism together or not at all: `fit` is yes
    if the maneuver suits every variant that the tests allow, no if none, else unknown. So it can be
    no where no single aspect is: a right Epley maneuver suits neither the right anterior nor the
    left posterior canal. Where the tests show several canals or both ears, a maneuver for one of
    them suits some of the variants: unknown. A variant of which nothing is known counts only where
    there is no other.

    Parameters
    ----------
    treatments
        What was given.
    adjudications
        The variants of each episode.
    maneuvers
        What each code of a maneuver is.

    Returns
    -------
    pd.DataFrame
        One row for each treatment, in the same order and with the same index: site, episode_id,
        attempt, and the columns FITS, each a code of schemas.maneuver.FIT.

    Raises
    ------
    KeyError
        If a treatment names a maneuver that is not listed.
    """
    attempts = treatments[[*EPISODE, "attempt", "maneuver", "side"]].merge(
        adjudications[[*EPISODE, "variants"]], on=EPISODE, how="left", validate="many_to_one"
    )
    key = ["maneuver", "side", "variants"]
    # 100,000 treatments hold a few hundred different questions: each is answered once
    questions = attempts[key].fillna({"variants": ""}).drop_duplicates()
    answers = [
        judge_maneuver(maneuvers[code], side, variants)
        for code, side, variants in questions.to_numpy()
    ]
    answered = questions.join(
        pd.DataFrame(answers, index=questions.index, columns=FITS, dtype="string")
    )
    fits = attempts.fillna({"variants": ""}).merge(
        answered, on=key, how="left", validate="many_to_one"
    )
    return fits[[*EPISODE, "attempt", *FITS]].set_index(treatments.index)


def judge_maneuver(maneuver: Maneuver, side: str, variants: str) -> dict[str, str]:
    """Judge whether one maneuver suits what the tests allow.

    Parameters
    ----------
    maneuver
        What was given.
    side
        To which ear.
    variants
        canal/side/arm/mechanism of each variant, separated by blanks.

    Returns
    -------
    dict
        A code of schemas.maneuver.FIT for each of FITS.
    """
    if maneuver.kind in MOVES_NOTHING:
        return dict.fromkeys(FITS, "not_applicable")
    if maneuver.kind == "unlisted":
        return dict.fromkeys(FITS, "unknown")
    ears = (
        {"right", "left", "unknown"}
        if maneuver.treats == "both_ears_at_once" or side == "both"
        else {side}
    )
    suited: list[set[str]] = [
        set(maneuver.canals),
        ears,
        set(maneuver.arms),
        set(maneuver.mechanisms),
    ]
    answers = [
        [_suit(value, values) for value, values in zip(variant.split("/"), suited, strict=True)]
        for variant in _leave_out_unknown(variants.split())
    ]
    aspects = (
        [_agree(given) for given in zip(*answers, strict=True)]
        if answers
        else ["unknown"] * len(ASPECTS)
    )
    return dict(
        zip(FITS, [*aspects, _agree([_join_aspects(aspects) for aspects in answers])], strict=True)
    )


def read_variant_parts(variants: str) -> tuple[set[str], set[str], set[str], set[str]]:
    """The canals, sides, arms and mechanisms that occur in a text of variants
    (canal/side/arm/mechanism, separated by blanks)."""
    parts = list(zip(*(variant.split("/") for variant in variants.split()), strict=True))
    canals, sides, arms, mechanisms = (
        (set(values) for values in parts) if parts else (set() for _ in ASPECTS)
    )
    return canals, sides, arms, mechanisms


def _leave_out_unknown(variants: list[str]) -> list[str]:
    """The variants without one of which nothing is known, if there is another:
    vertigo without nystagmus narrows nothing down."""
    return [variant for variant in variants if variant != ALL_UNKNOWN] or variants


def _suit(value: str, suited: set[str]) -> str:
    """Whether one value of a variant is suited; one that is itself unknown could be any."""
    return "yes" if value in suited else "unknown" if value == "unknown" else "no"


def _join_aspects(answers: list[str]) -> str:
    """The answer for one variant: it is suited as a whole or not at all."""
    return "no" if "no" in answers else "yes" if set(answers) == {"yes"} else "unknown"


def _agree(answers: Iterable[str]) -> str:
    """The answer that all variants give, else unknown."""
    distinct = set(answers)
    return distinct.pop() if len(distinct) == 1 else "unknown"
