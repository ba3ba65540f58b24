"""What is declared of the analyses in pipeline/analyses/sites."""

from schemas.analysis import FOLLOWED, ON_DAY_0, Analysis, Text
from schemas.quantities import DIAGNOSTICS, VARIANCES, People, Quantity

OWN = "site={site}"
MEASURES = {  # term: whom it is of, and what it is called
    "resolved_by_day_{day}": (FOLLOWED, "share resolved by day {day}"),
    "smoothed_by_day_{day}": (FOLLOWED, "share resolved by day {day}, smoothed course"),
    "first_session_success": (
        People("first session tested again"),
        "probability that the test after the first session is negative",
    ),
}


def _pool(measure: str, people: People, words: str) -> tuple[Quantity, ...]:
    """What is told of one measure of the sites."""
    return (
        Quantity(measure, "probability", words, people, stratum=OWN),
        Quantity(measure, "modelled share", words, worth=5),
        Quantity(
            f"{measure}_further_site",
            "modelled share",
            f"prediction interval for a further site: {words}",
            worth=5,
        ),
        Quantity(f"{measure}_sites_pooled", "number", f"sites pooled: {words}"),
        Quantity(
            f"{measure}_sites_not_pooled",
            "number",
            f"sites that could not be pooled: {words}",
            among=DIAGNOSTICS,
        ),
        Quantity(
            f"{measure}_tau2",
            "spread",
            f"variance between sites (transformed scale): {words}",
            among=VARIANCES,
        ),
        Quantity(
            f"{measure}_i2",
            "modelled share",
            f"share of the variance that lies between sites: {words}",
            among=VARIANCES,
        ),
        Quantity(f"{measure}_one_stage", "modelled share", f"{words}, one-stage model"),
        Quantity(
            f"{measure}_one_stage_tau2",
            "spread",
            f"variance between sites (transformed scale): {words}, one-stage model",
            among=VARIANCES,
        ),
    )


SITE_POOLING = Analysis(
    "pipeline.analyses.sites.pooling:estimate_site_pooling",
    Text(
        "What sites share",
        "The mean over sites of the share resolved by a day, and of success of the first session.",
        "As in the curves and in success of attempts, by site.",
        ON_DAY_0,
        "The mean of the shares of sites, with intervals by leaving out each site or, where these "
        "reach further, exact ones; smoothed courses and success in two stages on the "
        "complementary log-log scale: restricted likelihood, Hartung-Knapp intervals.",
        "Sites are like a sample of the clinics meant. How far they differ, and the prediction "
        "interval for a further site, are withdrawn: sites test on different days, which alone "
        "makes equal sites "
        "look different.",
        "IntHout, Ioannidis & Borm, BMC Med Res Methodol 2014;14:25; Higgins, Thompson & "
        "Spiegelhalter, J R Stat Soc A 2009;172:137-159",
    ),
    tuple(
        quantity
        for measure, (people, words) in MEASURES.items()
        for quantity in _pool(measure, people, words)
    ),
)
SITE_MONITORING = Analysis(
    "pipeline.analyses.sites.monitoring:estimate_site_monitoring",
    Text(
        "Sites beside their case mix",
        "A site's share resolved by a day, beside what the other sites' patients of the same "
        "case mix lead one to expect: planned, and withdrawn.",
        "First spells of positional episodes of sites that are large enough.",
        ON_DAY_0,
        "None: no site is compared until the days of the tests are part of the model.",
        "Of equal simulated sites that test first on day 1, 3, 7, 14 or 28, four in ten lay "
        "outside 95 % control limits, by day 7 and by day 30.",
        "Spiegelhalter, Stat Med 2005;24:1185-1202",
    ),
    (
        Quantity(
            "sites_large_enough", "number", "sites with as many episodes as a comparison asks for"
        ),
        Quantity(
            "sites_below_minimum", "number", "sites with fewer episodes than a comparison asks for"
        ),
        Quantity(
            "overdispersion_day_{day}",
            "statistic",
            "overdispersion of the sites, day {day}",
            among=VARIANCES,
        ),
    ),
)
