"""Invented episodes and attempts with a planted effect, for tests of the attempt models and their
speed."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

CANALS = np.array(
    [
        ("posterior", "long"),
        ("posterior", "unknown"),
        ("lateral", "long"),
        ("lateral", "short"),
        ("anterior", "unknown"),
    ]
)
GAPS, GAP_SHARES = [1, 2, 3, 5, 7, 8, 14, 21, 30], [0.2, 0.05, 0.05, 0.1, 0.25, 0.1, 0.1, 0.05, 0.1]


@dataclass(frozen=True)
class Truth:
    """Log hazard of a test: level, `unfit` for a maneuver that does not suit,
    `later` for each further attempt, `slope` of log gap, `halved` for each halving of the usual
    hold, `stopped` where not all positions were reached."""

    level: float = -0.6
    unfit: float = -0.6
    later: float = -0.2
    slope: float = 0.2
    patient_sd: float = 0.8
    site_sd: float = 0.3
    halved: float = 0.0
    stopped: float = 0.0


def simulate_attempts(
    n: int, seed: int, truth: Truth | None = None, *, sites: int = 9, longest: int = 4
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Episodes, verdicts and attempts of n episodes of n patients:
    attempts go on until a test is negative, at most `longest`."""
    truth, rng, hands = (
        truth or Truth(),
        np.random.default_rng(seed),
        np.random.default_rng([seed, 1]),
    )
    site_number = rng.integers(sites, size=n)
    keys = {
        "site": np.char.add("S", np.char.zfill(site_number.astype(str), 3)),
        "episode_id": np.char.add("EP-", np.arange(n).astype(str)),
    }
    people = pd.DataFrame(
        keys
        | {
            "patient_id": np.char.add("PT-", np.arange(n).astype(str)),
            "age_years": rng.integers(20, 90, n),
            "sex": rng.choice(["female", "male"], n, p=[0.7, 0.3]),
            "onset_day": -rng.geometric(0.04, n),
            "prior_episodes": rng.geometric(0.6, n) - 1,
            "cause": "idiopathic",
        }
    )
    canal, arm = CANALS[rng.choice(5, n, p=[0.5, 0.15, 0.2, 0.1, 0.05])].T
    mechanism = rng.choice(
        ["canalolithiasis", "cupulolithiasis", "unknown"], n, p=[0.75, 0.1, 0.15]
    )
    verdicts = {
        "positional": "yes",
        "canal": canal,
        "arm": arm,
        "arm_basis": pd.NA,
        "mechanism": mechanism,
    }
    person = rng.normal(0, truth.patient_sd, n) + rng.normal(0, truth.site_sd, sites)[site_number]
    rows, going, last = [], np.ones(n, dtype=bool), np.full(n, "", dtype=object)
    for session in range(1, longest + 1):
        family = np.where(
            (session > 1) & (rng.random(n) < 0.6),
            last,
            rng.choice(["epley", "semont", "gufoni"], n),
        )
        fit, gap = (
            rng.choice(["yes", "no", "unknown"], n, p=[0.6, 0.15, 0.25]),
            rng.choice(GAPS, n, p=GAP_SHARES),
        )
        halvings = np.maximum(hands.normal(0, 0.8, n), 0) * (hands.random(n) < 0.7)
        completed = np.where(hands.random(n) < 0.9, "yes", "no")
        linear = (
            truth.level
            + truth.unfit * (fit == "no")
            + truth.later * (session - 1)
            + truth.slope * np.log(gap)
            + truth.halved * halvings
            + truth.stopped * (completed == "no")
            + person
        )
        negative = rng.random(n) < -np.expm1(-np.exp(linear))
        clinic = rng.random(n) < 0.9
        rows.append(
            people[["site", "episode_id", "patient_id"]]
            .assign(
                session=session,
                spell=1,
                family=family,
                fit=fit,
                at_risk=True,
                next_test_days=gap.astype(float),
                day=40 * (session - 1),
                completed=completed,
                halvings=halvings,
            )
            .assign(
                setting=np.where(clinic, "clinic", "home"),
                performed_by=np.where(clinic, "clinician", "self_unsupervised"),
            )
            .assign(outcome=np.where(negative, "negative", "positive"))[going]
        )
        going, last = going & ~negative, family
    return people, pd.DataFrame(keys).assign(**verdicts), pd.concat(rows, ignore_index=True)
