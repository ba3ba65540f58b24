"""The invented clinics: their size, habits, skill, and the form in which they hand in.

All figures are invented.
"""

from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Site:
    """One clinic. Probabilities lie between 0 and 1; `effect` is the log hazard ratio of its
    maneuvers against the reference site.

    `maneuvers` replaces, for a group of working diagnoses, the weights of the first maneuver
    (`treatment.FIRST`). `form` is xlsx, csv, or csv_decimal_comma (semicolons, decimal commas,
    byte-order mark, CRLF).

    `version` is that of the data dictionary which it follows. Sites of version 2 tell their plan of
    tests, the usual day and `later_test_days`, why patients were examined, and the day after day 0
    on which everybody is called, if there is one.
    """

    code: str
    share: float
    form: str = "xlsx"
    short_arm_basis: str = "sitting_up"
    usual_confirmation_day: int = 7
    effect: float = 0.0
    right_canal: float = 0.92
    right_side: float = 0.96
    recognises: float = 0.55
    supine_roll: float = 0.9
    side_lying: float = 0.05
    sitting_up: bool = False
    half_dix_hallpike: bool = False
    head_hang: bool = False
    pitch_tests: bool = False
    velocities: bool = False
    goggles: bool = True
    times_recorded: float = 0.75
    names_arm: float = 0.2
    retest: float = 0.6
    second_in_visit: float = 0.4
    telephone: float = 0.15
    further_visit: float = 0.35
    one_year_contact: float = 0.35
    changes: float = -0.7
    angle_source: str = "estimated"
    scales: float = 0.7
    version: int = 1
    later_test_days: tuple[int, ...] = ()
    call_day: int | None = None
    maneuvers: dict[str, dict[str, float]] = field(default_factory=dict)


TEN = (
    Site(
        "S01",
        0.24,
        effect=0.15,
        right_canal=0.96,
        right_side=0.98,
        recognises=0.8,
        supine_roll=1.0,
        sitting_up=True,
        head_hang=True,
        pitch_tests=True,
        velocities=True,
        times_recorded=0.95,
        names_arm=0.5,
        angle_source="measured",
        scales=0.9,
        version=2,
        maneuvers={"posterior": {"epley": 0.66, "semont": 0.16, "bow_and_yaw": 0.12, "gans": 0.06}},
    ),
    Site(
        "S02",
        0.18,
        usual_confirmation_day=1,
        effect=-0.15,
        sitting_up=True,
        head_hang=True,
        telephone=0.3,
        maneuvers={"posterior": {"semont_plus": 0.55, "semont": 0.3, "epley": 0.15}},
    ),
    Site(
        "S03",
        0.13,
        form="csv",
        short_arm_basis="treatment_response",
        usual_confirmation_day=14,
        maneuvers={"posterior": {"epley": 0.55, "semont": 0.05, "bow_and_yaw": 0.4}},
    ),
    Site(
        "S04",
        0.11,
        usual_confirmation_day=30,
        effect=-0.3,
        right_canal=0.8,
        right_side=0.9,
        recognises=0.3,
        supine_roll=0.45,
        goggles=False,
        times_recorded=0.4,
        retest=0.25,
        changes=-1.2,
        angle_source="not_recorded",
        scales=0.4,
        version=2,
        call_day=3,
        maneuvers={
            "posterior": {"epley": 0.85, "brandt_daroff": 0.15},
            "uncertain": {"brandt_daroff": 1},
        },
    ),
    Site(
        "S05",
        0.09,
        form="csv_decimal_comma",
        version=2,
        later_test_days=(37,),
        effect=0.1,
        sitting_up=True,
        velocities=True,
        pitch_tests=True,
        changes=-0.2,
        maneuvers={
            "posterior": {"epley": 0.6, "semont": 0.2, "bow_and_yaw": 0.2},
            "geotropic": {"gufoni_geotropic": 0.85, "vannucchi_asprella": 0.15},
        },
    ),
    Site(
        "S06",
        0.075,
        short_arm_basis="half_dix_hallpike",
        half_dix_hallpike=True,
        usual_confirmation_day=1,
        effect=-0.1,
        side_lying=0.5,
        right_canal=0.88,
        maneuvers={"posterior": {"epley": 0.6, "semont": 0.2, "bow_and_yaw": 0.2}},
    ),
    Site(
        "S07",
        0.06,
        form="csv",
        version=2,
        call_day=3,
        usual_confirmation_day=14,
        effect=-0.15,
        right_canal=0.86,
        goggles=False,
        times_recorded=0.5,
        maneuvers={
            "posterior": {"observe": 0.35, "epley": 0.65},
            "geotropic": {"observe": 0.6, "barbecue_roll": 0.4},
            "apogeotropic": {"observe": 0.6, "head_shaking": 0.4},
        },
    ),
    Site(
        "S08",
        0.05,
        short_arm_basis="half_dix_hallpike",
        effect=0.2,
        right_canal=0.94,
        half_dix_hallpike=True,
        head_hang=True,
        velocities=True,
        pitch_tests=True,
        names_arm=0.5,
        angle_source="measured",
        maneuvers={
            "apogeotropic": {
                "cupulolith_repositioning": 0.6,
                "zuma": 0.25,
                "gufoni_apogeotropic": 0.15,
            }
        },
    ),
    Site(
        "S09",
        0.04,
        usual_confirmation_day=30,
        effect=-0.2,
        right_canal=0.85,
        supine_roll=0.6,
        scales=0.5,
    ),
    Site("S10", 0.025, effect=-0.05, right_canal=0.85, goggles=False),
)


def make_sites(count: int) -> tuple[Site, ...]:
    """`count` clinics, S01 upward; from the eleventh on the habits of the ten come round again."""
    if not 1 <= count <= 999:
        raise ValueError("between 1 and 999 sites can be made: a site code has two or three digits")
    return tuple(
        replace(TEN[number % len(TEN)], code=f"S{number + 1:02d}") for number in range(count)
    )


def share_out(episodes: int, sites: tuple[Site, ...]) -> list[int]:
    """Episodes for each site in proportion to its share, at least one each,
    adding up to `episodes` (largest remainders).
    """
    if episodes < len(sites):
        raise ValueError(f"{len(sites)} sites need at least {len(sites)} episodes")
    total = sum(site.share for site in sites)
    exact = [1 + (episodes - len(sites)) * site.share / total for site in sites]
    sizes = [int(value) for value in exact]
    by_remainder = sorted(range(len(sites)), key=lambda number: sizes[number] - exact[number])
    for number in by_remainder[: episodes - sum(sizes)]:
        sizes[number] += 1
    return sizes
