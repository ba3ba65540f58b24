"""What is declared of the analyses in pipeline/analyses/sites."""

from schemas.analysis import FOLLOWED, ON_DAY_0, Analysis, Text
from schemas.quantities import DIAGNOSTICS, VARIANCES, People, Quantity

OWN = "site={site}"
FASTER = "above 1: resolved sooner than at the mean of the sites"
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
        "makes shares of equal sites look different. Their rates of resolution are compared "
        "instead, by a model of the days of tests.",
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
        "How far sites differ",
        "The rate of resolution of each site beside the mean of the sites, for the same variants "
        "under the same sessions and whenever a site tests; how far sites differ.",
        "First spells of treated positional episodes with a record without gaps, of sites that are "
        "large enough.",
        ON_DAY_0,
        "The model of resolution and of tests with a multiplier of the rate of resolution for each "
        "site; the variance between sites by restricted likelihood, with a Q-profile interval.",
        "As in the model with the days of testing. A site's patients differ from others by variant "
        "only, and so a ratio says nothing of how good a clinic is.",
        "Spiegelhalter, Stat Med 2005;24:1185-1202",
    ),
    (
        Quantity(
            "sites_large_enough", "number", "sites with as many episodes as a comparison asks for"
        ),
        Quantity(
            "sites_below_minimum", "number", "sites with fewer episodes than a comparison asks for"
        ),
        Quantity("sites_outside_95", "number", "sites outside the 95 % control limits"),
        Quantity("sites_outside_998", "number", "sites outside the 99.8 % control limits"),
        Quantity(
            "rate_ratio",
            "ratio",
            "rate of resolution beside the mean of the sites",
            stratum=OWN,
            direction=FASTER,
        ),
        Quantity(
            "rate_ratio_tau2",
            "spread",
            "variance between sites of the logarithm of the rate of resolution",
            among=VARIANCES,
        ),
        Quantity(
            "rate_ratio_further_site",
            "ratio",
            "prediction interval for the rate of resolution of a further site beside the mean",
            direction=FASTER,
        ),
    ),
)
