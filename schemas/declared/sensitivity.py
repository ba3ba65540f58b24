"""What is declared of the analyses in pipeline/analyses/sensitivity."""

from schemas.analysis import ON_DAY_0, Analysis, Text
from schemas.quantities import People, Quantity

SENSITIVITY = Analysis(
    "pipeline.analyses.sensitivity.variations:estimate_sensitivity",
    Text(
        "What would change the primary answers",
        "The share resolved by each day, and the difference between changing and repeating after a "
        "failed first session, under every choice that could have been made otherwise.",
        "As in the curves and in the second line, except where a variation changes it.",
        "Day 0, the day of the first maneuver; of the difference, the day of the second session.",
        "As the curves and the second line. Two variations show a tempting shortcut: the middle or "
        "the end of an interval taken for the day of resolution.",
        "Variations are not independent of each other, and none is a test.",
        "von Elm et al., PLoS Med 2007;4:e296, item 12e",
    ),
    (
        Quantity(
            "resolved_by_day_{day}",
            "probability",
            "share resolved by day {day}",
            People("followed in a variation"),
            sized=False,
        ),
        Quantity("resolved", "modelled share", "share resolved, if no site may be left out"),
        Quantity("median_days", "statistic", "day by which half were resolved"),
        Quantity(
            "risk_difference_day_{day}",
            "coefficient",
            "difference of shares resolved by day {day}, change minus repeat",
            direction="above 0: more resolved after changing",
        ),
    ),
)
MODEL_AGREEMENT = Analysis(
    "pipeline.analyses.sensitivity.model_agreement:check_model_agreement",
    Text(
        "Models fitted twice",
        "How far the main models lie from a second fit of the same model on the same rows by "
        "lifelines or statsmodels.",
        "The rows of each analysis.",
        ON_DAY_0,
        "The largest difference of a model, in standard errors by the model, or in the share; no "
        "release is made in which one exceeds its tolerance.",
        "That two programs agree says that the sums are right, not that the model is.",
        "Davidson-Pilon, J Open Source Softw 2019;4:1317; Seabold & Perktold, Proc 9th Python in "
        "Science Conf 2010:92-96 (both from memory)",
    ),
    (
        Quantity("largest_difference", "difference of fits", "largest difference between two fits"),
        Quantity(
            "tolerance", "difference of fits", "greatest difference with which a release is made"
        ),
    ),
)
