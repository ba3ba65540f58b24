"""What is planted: variants with their own course, effects,
and ten scenarios that differ in what hurts an estimator.

All figures are invented: they need only be known. A resolution is driven by cumulative hazard: each
session adds `jump` at once, each day `rate`, both multiplied by exp(site + patient + covariates).
"""

import zlib
from dataclasses import dataclass

SEED = 20261126
VISITS = (1, 7, 14, 30, 60, 90, 180)  # planned days of tests
JITTER = (
    (1, 4),
    (5, 10),
    (11, 20),
    (21, 40),
    (45, 75),
    (80, 110),
    (150, 200),
)  # where irregular tests may fall instead
LAST_SESSION_DAY = 75  # nobody is treated again after it
SESSION_CHANCE = 0.8  # that a positive test is followed by another session on the same day
# probability of coming to the first test while unresolved, and once resolved, if tests follow
# symptoms
EARLY_TEST = {True: 0.75, False: 0.15}
# probability to stay away for good at each test, if loss follows the course
LOST_INFORMATIVE = {True: 0.04, False: 0.30}
RETURN_RATE = 0.002  # per day, once the agreed gap after the first negative test is over
LONG_ONSET, PER_DECADE = -0.35, -0.08  # log hazard; sex and earlier episodes have no effect
WEIBULL_SHAPE, WEIBULL_DAYS = 0.7, 9.0
SWITCHED_AT_ONCE, SWITCHED_RATE = 0.06, 0.002  # probability at the first session, and per day later
RECLASSIFIED_RATE = 0.005  # per day
HANDICAP = {
    0: 48,
    7: 42,
    30: 36,
    90: 32,
}  # mean total by day, before what resolution takes off; the lateral canal is at another level
HANDICAP_LATERAL, RESOLVED_FALL = -4, 12
HANDICAP_SDS = {"site": 4, "patient": 12, "slope": 6, "rest": 7}
FILLED_IN, FILLED_IN_WHEN_WELL, WELL_BELOW = (
    0.85,
    0.45,
    30,
)  # probability of a form; and below this total, where patients are lost


@dataclass(frozen=True)
class Variant:
    """A form of positional vertigo: its share of the pool and its course under a session of the
    first family."""

    canal: str
    arm: str
    mechanism: str
    share: float
    jump: float
    rate: float
    families: tuple[str, str]
    second_family: float  # log hazard of the jump of a first session of the second family
    # log hazard of the jump of a later session of another family than the first session's
    changed: float


VARIANTS = (
    Variant(
        "posterior", "long", "canalolithiasis", 0.60, 0.8, 0.02, ("epley", "semont"), -0.2, 0.5
    ),
    Variant(
        "posterior", "cupula", "cupulolithiasis", 0.10, 0.35, 0.01, ("epley", "semont"), -0.2, 0.5
    ),
    Variant(
        "lateral",
        "long",
        "canalolithiasis",
        0.16,
        0.75,
        0.04,
        ("barbecue_roll", "gufoni"),
        0.0,
        0.0,
    ),
    Variant(
        "lateral",
        "cupula",
        "cupulolithiasis",
        0.10,
        0.4,
        0.03,
        ("barbecue_roll", "gufoni"),
        0.0,
        0.0,
    ),
    Variant(
        "anterior",
        "long",
        "canalolithiasis",
        0.04,
        0.75,
        0.02,
        ("deep_head_hanging", "epley"),
        0.0,
        0.0,
    ),
)


CODES = {"gufoni": "gufoni_geotropic"}  # the maneuver of a family that is not called like it


@dataclass(frozen=True)
class Scenario:
    """One way in which pools are drawn.

    `testing`: planned, irregular (jittered, a quarter missed) or symptoms (early ones follow
    symptoms).

    `loss` is the probability of staying away for good at each test, or `informative`. `channelling`
    multiplies how strongly adherent debris, long duration and the site's own results drive the
    choice of maneuvers. With `weibull` the first session alone acts and times to resolution are
    Weibull, so that time ratios are known. `seed` is that of its truths; 0 takes it from the name.
    """

    name: str
    sites: int = 12
    per_site: int = 60
    site_sd: float = 0.25
    patient_sd: float = 0.0
    testing: str = "planned"
    loss: float | str = 0.0
    channelling: float = 0.0
    weibull: bool = False
    seed: int = 0

    @property
    def truth_seed(self) -> int:
        """What seeds the draws behind the truths of this scenario."""
        return self.seed or zlib.crc32(self.name.encode())


SCENARIOS = (
    Scenario("benign"),
    Scenario("four_sites", sites=4),
    Scenario("eight_sites", sites=8),
    Scenario("twenty_sites", sites=20),
    Scenario("frail_patients", patient_sd=1.0),
    Scenario("irregular_tests", testing="irregular", loss=0.08, seed=4168676200),
    Scenario("tests_follow_symptoms", testing="symptoms", seed=3573499414),
    Scenario("channelled", channelling=1.0),
    Scenario("informative_loss", loss="informative"),
    Scenario("weibull", weibull=True, site_sd=0.1, testing="irregular"),
    Scenario(
        "everything",
        sites=8,
        patient_sd=0.7,
        testing="symptoms",
        loss="informative",
        channelling=1.0,
    ),
)
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}
