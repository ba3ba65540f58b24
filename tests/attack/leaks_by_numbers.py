"""Releases that give a small group away by their shares, limits, notes and statuses.

Each: the rows, the group that must be found, and whether its size comes out or is only proved to be
1 to 10.
"""

from tests.attack.plants import (
    EXACT,
    FEW,
    HIDDEN,
    Plant,
    agreement,
    choice,
    curve,
    first_event,
    reason,
    share,
)

TABLE = [
    agreement("mechanism:recorded=free,adjudicated=free", 80, sites=4),
    agreement("mechanism:recorded=adherent,adjudicated=adherent", 21, sites=4),
    agreement("mechanism:recorded=free,adjudicated=adherent", **HIDDEN, sites=1),
    agreement("mechanism:recorded=adherent,adjudicated=free", **HIDDEN, sites=4),
]
ARMS = [
    choice("risk_repeat_day_30", 60, 30),
    choice("risk_change_day_30", 40, 20),
    choice("weight_mean", 100, 60),
]

LEAKS: dict[str, tuple[list[Plant], str, bool]] = {
    "shares of first events hold their events": (
        [
            first_event("seen_resolved_day_7", 100, "", estimate=0.303123456789),
            first_event("seen_switched_day_7", **HIDDEN),
            first_event("seen_reclassified_day_7", 100, 0, **FEW),
            first_event("seen_lost_day_7", 100, 20, estimate=0.201123456789),
            first_event("nothing_seen_day_7", 100, 54, estimate=0.455512345678),
        ],
        "complete[first=switched by 7]",
        True,
    ),
    "a difference of arms splits a class": (
        [
            *ARMS,
            choice("smd_before:sex=other", 14, estimate=-0.07, comparison="repeat"),
            choice("smd_before:sex=female", 86),
        ],
        "compared[arm chosen=change; sex=other]",
        True,
    ),
    "weights that were cut": (
        [*ARMS, choice("truncated_share", 100, 60, estimate=0.04)],
        "weight cut, compared",
        True,
    ),
    "a note that counts": (
        [
            choice(
                "risk_difference_day_30",
                100,
                50,
                note="without 4 who had next to no chance of one choice",
            )
        ],
        "left out",
        True,
    ),
    "a table of two diagnoses": (
        [
            *TABLE[:3],
            agreement("mechanism:recorded=adherent,adjudicated=free", 11),
            agreement("mechanism_agreement", 118, 101),
        ],
        "mechanism named twice[adjudicated=adherent; recorded=free]",
        True,
    ),
    "chance agreement told by kappa": (
        [
            *TABLE,
            agreement("mechanism_agreement", 113, 101),
            agreement("mechanism_kappa", 113, 101, estimate=0.709137709),
        ],
        "mechanism named twice[adjudicated=free; recorded=adherent]",
        True,
    ),
    "exact limits of a share of one": (
        [
            agreement(
                "arm_agreement",
                "",
                "",
                stratum="site=A",
                sites=1,
                method=EXACT,
                estimate="1.0",
                lower="0.66",
                upper="1.0",
            )
        ],
        "arm named twice[site=A]",
        True,
    ),
    "exact limits of any share": (
        [
            agreement(
                "arm_agreement",
                "",
                "",
                stratum="site=A",
                sites=1,
                method=EXACT,
                estimate=0.83,
                lower=0.36,
                upper="1.0",
            )
        ],
        "arm named twice[agree=yes; site=A]",
        True,
    ),
    "a rounded share of known people": (
        [
            agreement(
                "side_agreement", 40, "", method=EXACT, sites=3, estimate=0.1, lower=0.01, upper=0.3
            ),
            agreement(
                "side_agreement",
                40,
                "",
                method="share of episodes",
                stratum="site=A",
                estimate=0.075,
            ),
        ],
        "side named twice[agree=yes; site=A]",
        True,
    ),
    "a share printed in full": (
        [reason("x", estimate=3 / 17, sites=""), reason("y", 17, 0, sites="")],
        "probable_non_positional[reason=x]",
        True,
    ),
    "people of several sites among few": (
        [
            share("sex=female", 100, 82),
            share("sex=male", **HIDDEN, sites=9),
            share("sex=unknown", **HIDDEN, sites=8),
        ],
        "stored[sex=male]",
        False,
    ),
    "a guard that says how few": (
        [
            {
                **curve("canal=lateral", "median_days", ""),
                "status": "too_few",
                "note": "fewer than 11 episodes",
            }
        ],
        "followed[canal=lateral]",
        False,
    ),
}
