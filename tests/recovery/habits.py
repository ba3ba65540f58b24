"""How clinics come to test and patients to be tested: twelve scenarios, each with what it plants.

All figures are invented: they need only be known. Days are whole. Whoever resolves on a day tests
negative from that day on, but for misread tests; a session acts on the day after it.
"""

from dataclasses import dataclass

SITES, EPISODES = 12, 1500
LAST_DAY = 120  # nobody is tested, called or treated after it
USUAL_DAYS = (1, 3, 7, 14, 28)  # after a session, of the sites in turn
SAME_DAY = 7  # of all sites, where they do not differ
LEAST_STEP = 6  # days from a further test to the next planned one
KEPT_APPOINTMENT, REBOOKED_AFTER = 0.9, 3  # chance, and days to the next appointment if missed
CONTROL_CHANCE, CONTROL_AFTER = 0.4, 30  # of a further test after a negative one
TREATED_AT_TEST = 0.9  # chance of a session at a positive test
CHANGED = 0.4  # chance that a further session is of the other family
SELF_CHOSEN = {True: 0.06, False: 0.004}  # tests a day while unresolved, and once resolved
LOST = {True: 0.003, False: 0.03}  # a day, likewise
MISREAD = (0.92, 0.97)  # sensitivity and specificity of a test
CALLS = ((1, 6), (10, 25), (40, 60))  # between which days each patient is called
REACHED = 0.7
SAYS_YES = {True: 0.92, False: 0.06}  # chance of symptoms being told, unresolved and resolved
YEARS = range(2020, 2026)


@dataclass(frozen=True)
class Habits:
    """One way in which pools come to be tested.

    `kind` is what makes the courses: hazards (tests/recovery/visits.py), the same with a wish to
    return that drifts, or debris (tests/recovery/debris.py, which has all of these habits in ways
    of its own).
    """

    name: str
    kind: str = "hazards"
    site_days: bool = False  # each site its own usual day, else all the same one
    treated_at_test: bool = False  # else there is the session of day 0 alone
    self_chosen: bool = False
    loss: bool = False
    misread: bool = False
    telephone: bool = False
    site_sd: float = 0.2  # of the log hazard
    patient_sd: float = 0.3
    channelling: float = 0.0  # by how much slow patients are changed more often (log-odds per sd)
    # by how much long onset, age and slow sites prompt the second family at the first session
    first_choice: float = 0.0
    recorded: bool = (
        False  # by the grade of vertigo at tests, which tells who is slow, in its place
    )

    def usual_day(self, site: int) -> int:
        """The usual day of a site by its place in the pool."""
        return USUAL_DAYS[site % len(USUAL_DAYS)] if self.site_days else SAME_DAY


ALL = {
    "site_days": True,
    "treated_at_test": True,
    "self_chosen": True,
    "loss": True,
    "misread": True,
    "telephone": True,
}
HABITS = (
    Habits("same_days"),
    Habits("site_days", site_days=True),
    Habits("treated_at_test", treated_at_test=True),
    Habits("self_chosen_tests", self_chosen=True),
    Habits("loss_follows_course", loss=True),
    Habits("misread_tests", misread=True),
    Habits("telephone", telephone=True),
    Habits("site_days_treated", site_days=True, treated_at_test=True),
    Habits("equal_sites", site_days=True, treated_at_test=True, site_sd=0.0),
    Habits("all_together", **ALL),
    Habits("drifting_wish", kind="drifting_wish", **ALL),
    Habits("debris", kind="debris", **ALL),
)
# whom later sessions change is not by chance: nothing in the records tells it
CHANNELLED = Habits("channelled_changes", treated_at_test=True, channelling=1.0)
# the grade of vertigo at the failed test prompts the change, and tells much of who is slow
PROMPTED = Habits(
    "prompted_changes", treated_at_test=True, patient_sd=0.8, channelling=0.8, recorded=True
)
# what is recorded of the patient, and the site, decide on the first maneuver
CHOSEN_FIRST = Habits("chosen_first", treated_at_test=True, telephone=True, first_choice=1.0)
HABITS_BY_NAME = {habits.name: habits for habits in (*HABITS, CHANNELLED, PROMPTED, CHOSEN_FIRST)}
