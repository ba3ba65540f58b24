"""Why the report does not say how far clinics differ."""

from pipeline.reports.committee.section import make_section


def describe_sites() -> dict:
    """The section in plain words, whatever the pool: there is no number to show."""
    return make_section(
        "sites",
        "How far clinics differ",
        [
            "This report does not compare clinics. They test on different days: a recovery is seen "
            "only at the next test, and whoever has not recovered is treated again then. Clinics "
            "whose patients fare alike then look different. In a trial run with invented clinics "
            "that were all alike but for the days of their tests, four in ten would have been "
            "called unusual, by day 7 and by day 30 alike; by chance alone it would be one in "
            "twenty. A comparison will be possible once the days of the tests are part of it.",
        ],
    )
