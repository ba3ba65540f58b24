"""Releases that give a small group away by their counts.

Each: the rows, the group that must be found, and whether its size comes out or is only proved to be
1 to 10.
"""

from tests.attack.plants import FEW, HIDDEN, Plant, choice, curve, first_event, path, reason, share

LEAKS: dict[str, tuple[list[Plant], str, bool]] = {
    "parts add up to the whole": (
        [share("sex=female", 100, 61), share("sex=male", 100, 35), share("sex=unknown", **HIDDEN)],
        "stored[sex=unknown]",
        True,
    ),
    "joined classes are one part": (
        [share("sex=female|other", 100, 93), share("sex=male|unknown", **HIDDEN)],
        "stored[sex=male] + stored[sex=unknown]",
        True,
    ),
    "hidden classes have few people together": (
        [share("sex=female", 100, 91), share("sex=male", **HIDDEN), share("sex=unknown", **HIDDEN)],
        "stored[sex=male] + stored[sex=unknown]",
        True,
    ),
    "the rest of a row": (
        [reason("x", 40, 36)],
        "probable_non_positional - probable_non_positional[reason=x]",
        True,
    ),
    "a cell left open": ([reason("x", 40, 5)], "probable_non_positional[reason=x]", True),
    "one population in two tables": (
        [
            first_event("seen_lost_day_7", 40, 11, stratum="canal=lateral"),
            first_event("seen_lost_day_7", 100, 30),
            path("canal=posterior,path=start", "reached", 53, 53),
            path("canal=anterior,path=start", "reached", **HIDDEN),
        ],
        "complete[canal=anterior]",
        True,
    ),
    "crossings of two strata": (
        [
            curve("all", "resolved_by_day_7", 100, 50),
            curve("canal=lateral", "resolved_by_day_7", 40, 20),
            curve("canal=posterior", "resolved_by_day_7", 60, 30),
            curve("mechanism=free", "resolved_by_day_7", 70, 30),
            curve("mechanism=unknown", "resolved_by_day_7", 30, 20),
            curve("canal=lateral,mechanism=free", "resolved_by_day_7", **HIDDEN),
            curve("canal=lateral,mechanism=unknown", "resolved_by_day_7", **HIDDEN),
            curve("canal=posterior,mechanism=free", "resolved_by_day_7", 38, 16),
            curve("canal=posterior,mechanism=unknown", "resolved_by_day_7", **HIDDEN),
        ],
        "followed[canal=lateral; mechanism=unknown]",
        True,
    ),
    "events before a day and by the next": (
        [
            curve("all", "resolved_by_day_7", 100, 50),
            curve("all", "resolved_by_day_14", 100, 53),
            curve("all", "at_risk_day_0", 100),
        ],
        "followed[resolved_by=14] - followed[resolved_by=7]",
        True,
    ),
    "who is no longer at risk": (
        [
            curve("all", "at_risk_day_0", 100),
            curve("all", "at_risk_day_1", 97),
            curve("all", "resolved_by_day_1", **HIDDEN),
        ],
        "followed[at_risk=0] - followed[at_risk=1]",
        True,
    ),
    "what is known on a day adds up": (
        [
            curve("all", "unresolved_day_7", 100, 50),
            curve("all", "known_negative_day_7", 100, 50),
            curve("all", "known_between_day_7", 100, 25),
            curve("all", "known_positive_day_7", 100, 21),
            curve("all", "known_untested_day_7", **HIDDEN),
        ],
        "followed[untested_from=7]",
        True,
    ),
    "who is not tested again by a day is not by the next": (
        [
            curve("all", "unresolved_day_7", 100, 50),
            curve("all", "known_untested_day_7", 100, 30),
            curve("all", "known_untested_day_14", 100, 34),
        ],
        "followed[untested_from=14] - followed[untested_from=7]",
        True,
    ),
    "who is positive on a later day was so before": (
        [
            curve("all", "unresolved_day_7", 100, 50),
            curve("all", "known_positive_day_7", 100, 30),
            curve("all", "known_positive_day_14", 100, 27),
        ],
        "followed[positive_from=7] - followed[positive_from=14]",
        True,
    ),
    "kinds of first events add up": (
        [
            first_event("seen_resolved_day_7", 100, 30),
            first_event("seen_switched_day_7", **HIDDEN),
            first_event("seen_reclassified_day_7", 100, 0, **FEW),
            first_event("seen_lost_day_7", 100, 20),
            first_event("nothing_seen_day_7", 100, 56),
        ],
        "complete[first=switched by 7]",
        True,
    ),
    "what followed on a path": (
        [
            path("path=start", "reached", 60, 60),
            path("path=start", "next=a", 60, 40),
            path("path=start", "next=rarer", 60, 20),
            path("path=a", "reached", 60, 40),
            path("path=a", "resolved_at_next_test", 40, 22),
            path("path=a", "resolved_at_later_test", 40, 0),
            path("path=a", "no_further_session", **HIDDEN),
            path("path=a", "never_tested_again", 40, 12),
            path("path=a", "next=rarer", 40, 0),
        ],
        "complete[end=no_further_session; path=a]",
        True,
    ),
    "who was tested again": (
        [
            path("path=a", "reached", 60, 40),
            path("path=a", "never_tested_again", **HIDDEN),
            path("path=a", "next_without_test", 40, 0),
            path("path=a", "share_resolved_at_next_test", 33, 15, estimate=0.4545454545454545),
        ],
        "complete[end=never_tested_again; path=a]",
        True,
    ),
    "both arms less one": (
        [
            choice("risk_repeat_day_7", 60, 30),
            choice("risk_change_day_7", **HIDDEN),
            choice("weight_mean", 100, 60),
            choice("risk_difference_day_7", 100, 38),
        ],
        "compared[arm chosen=change; resolved_by=7]",
        True,
    ),
    "sites that are not in a pool of sites": (
        [
            {**curve("all", "resolved_by_day_7_sites_pooled", 80, 44), "analysis": "site_pooling"},
            curve("all", "resolved_by_day_7", 100, 50),
            curve("all", "at_risk_day_0", 100),
        ],
        "followed[resolved_by=7] - followed[pooled=resolved by 7; resolved_by=7]",
        True,
    ),
    "sessions of the classes add up": (
        [
            {
                "analysis": "attempt_success",
                "population": "p",
                "term": "success_raw",
                "stratum": s,
                "n": n,
                "events": e,
                "sites": 4,
            }
            for s, n, e in (
                ("fit=yes", 60, 30),
                ("fit=no", 40, 18),
                ("fit=unknown", "", ""),
                ("attempt_number=1", 90, 51),
            )
        ],
        "successes[fit=unknown]",
        True,
    ),
    "nested groups of two tables": (
        [
            path("all", "treated", 150, 150),
            share("first_maneuver=a", 150, 60, population="positional"),
            share("first_maneuver=b", 150, 90, population="positional"),
            path("path=a", "reached", 140, 57),
        ],
        "treated[first_maneuver=a] - complete[path=a]",
        True,
    ),
}
