"""The pool beside published trials: the same canal, maneuver and day, other patients."""

import pandas as pd

from pipeline.committee.readings import Reading, Readings, read_estimates
from pipeline.committee.section import draw_shares, make_range, make_section
from pipeline.committee.wording import name_maneuver
from schemas.published import Trial
from schemas.study import Config


def describe_published(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """For each arm of a trial that has its like in the pool, both shares resolved by the day of the trial."""
    title = "Beside published trials"
    printed, own = (_read(estimates, population) for population in ("published", "positional"))
    rows, sources = [], []
    for name, trial in config.published.trials.items():
        term = f"resolved_by_day_{trial.day}"
        for arm in trial.arms:
            stratum = f"trial={name},first_maneuver={arm.family}"
            theirs, ours = printed[stratum, term], own[stratum, term]
            if not (theirs.usable and ours.usable):
                continue
            number = len(sources) + 1
            label = f"Trial {number}, {_say_endpoint(trial)}: {arm.events}/{arm.total}"
            heading = f"{name_maneuver(arm.family, config)}, day {trial.day}"
            rows.append(make_range(label, theirs, kind="other", heading=heading))
            rows.append(make_range(_say_own(ours), ours))
            sources.append(f"{number}. {trial.citation}")
    if not rows:
        return make_section(
            "published",
            title,
            ["No arm of a published trial has its like in this pool with a number that can be shown."],
        )
    figure = draw_shares(
        rows,
        key="figure-published",
        title="Share resolved in trials and in this pool",
        unit="share resolved by the day of the trial",
    )
    return make_section(
        "published",
        title,
        [
            "Trials chose their patients, looked at all of them on one day and allotted treatment by chance; clinics did none of this. A difference is "
            "to be expected and says nothing of how well anybody treats.",
        ],
        figure=figure,
        caption="Hollow square: printed result of the trial. Dot: this pool.",
        notes=["Trials: " + "; ".join(dict.fromkeys(sources)) + "."],
    )


def _read(estimates: dict[str, pd.DataFrame], population: str) -> Readings:
    return read_estimates(estimates, "published_comparison", population)


def _say_own(reading: Reading) -> str:
    return "This pool" if reading.n_episodes is None else f"This pool: {reading.n_episodes:,} episodes"


def _say_endpoint(trial: Trial) -> str:
    return {
        "objective": "test negative",
        "patient_reported": "no symptoms",
        "strict": "both negative",
    }.get(trial.endpoint, trial.endpoint.replace("_", " "))
