"""What is declared of the analyses in pipeline/analyses/afterwards."""

from schemas.analysis import JACKKNIFE, ON_DAY_0, TESTS_AS_GIVEN, TURNBULL, Analysis, Text, count
from schemas.quantities import People, Quantity

ON_DAY = People("total", fields={"day": "{day}"})
NEAR_SEEN = People("total", (), {"day": "{day}", "seen": "{seen}"})
AT_RISK = People("resolved {endpoint}")

HANDICAP_CHANGE = Analysis(
    "pipeline.analyses.afterwards.handicap:estimate_handicap_change",
    Text(
        "Handicap over time",
        "The mean total of the Dizziness Handicap Inventory (0 to 100, more is worse), its change, "
        "and the share who fell by an important amount.",
        "Treated positional episodes with a total.",
        ON_DAY_0,
        "Linear mixed model by restricted likelihood, intercept and slope of patients, intercept "
        f"of sites; {JACKKNIFE}.",
        "Totals may be missing for reasons that earlier totals tell, not for others. Those "
        "resolved and those not differ in much else.",
        "Laird & Ware, Biometrics 1982;38:963-974; Tamber et al., Health Qual Life Outcomes "
        "2009;7:109; Jacobson & Newman, Arch Otolaryngol Head Neck Surg 1990;116:424-427",
    ),
    (
        Quantity("mean_day_{day}", "points", "mean handicap total, day {day}", ON_DAY, worth=6),
        Quantity(
            "change_by_day_{day}",
            "difference of points",
            "change of the mean handicap total by day {day}",
            ON_DAY,
            worth=6,
            direction="below 0: less handicap than on day 0",
        ),
        Quantity(
            "share_at_zero_day_{day}",
            "share",
            "share with a handicap total of zero, day {day}",
            ON_DAY,
            People("total of zero", fields={"day": "{day}"}),
            worth=4,
        ),
        Quantity(
            "started_below_{points}",
            "share",
            "share who started below {points} points",
            People("total", fields={"day": "0"}),
            People("total too low", fields={"points": "{points}"}),
            worth=3,
        ),
        Quantity(
            "fell_by_{points}_by_day_{day}",
            "share",
            "share whose total fell by at least {points} points by day {day}",
            People("two totals", fields={"day": "{day}"}),
            People("fell", fields={"day": "{day}", "points": "{points}"}),
            worth=5,
        ),
        Quantity(
            "mean_near_day_{day}",
            "points",
            "mean handicap total near day {day}",
            NEAR_SEEN,
            stratum="resolution_seen_by_then={seen}",
        ),
        Quantity(
            "difference_near_day_{day}",
            "difference of points",
            "difference of mean handicap totals near day {day}",
            ON_DAY,
            direction="below 0: less handicap where resolution had been seen",
        ),
    ),
)
RECURRENCE = Analysis(
    "pipeline.analyses.afterwards.recurrence:estimate_recurrence",
    Text(
        "Recurrence",
        "The share still free of recurrence, by day after resolution.",
        "First spells that were seen to be resolved.",
        "The first negative day.",
        f"Non-parametric maximum likelihood for interval-censored times; {JACKKNIFE}.",
        "Recurrences handed in as a new episode are not counted, so that these shares of "
        f"recurrence are lower bounds. {TESTS_AS_GIVEN}",
        f"{TURNBULL}; Perez et al., Otol Neurotol 2012;33:437-443",
    ),
    (
        Quantity(
            "recurrence_free_{edge}_day_{day}",
            "probability",
            "share without recurrence by day {day}, {edge} curve",
            AT_RISK,
            worth=3,
        ),
        Quantity(
            "recurrence_free_day_{day}",
            "probability",
            "share without recurrence by day {day}",
            AT_RISK,
            worth=5,
        ),
        count(
            "at_risk_day_{day}",
            "seen to be free of it on day {day} or later",
            People("free {endpoint}", fields={"day": "{day}"}),
        ),
    ),
)
