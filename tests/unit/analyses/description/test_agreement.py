"""Agreement: a published table gives its published kappa, and little data gives a status."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.description.agreement import (
    list_disagreements,
    measure_agreement,
    pair_diagnoses,
)


def spread(table: np.ndarray, values: list[str], sites: int = 4) -> pd.DataFrame:
    """Pairs whose recorded (rows) by adjudicated (columns) canals make the table;
    the side agrees throughout."""
    cells = [
        (r, a)
        for i, r in enumerate(values)
        for j, a in enumerate(values)
        for _ in range(table[i, j])
    ]
    rows = pd.DataFrame(cells, columns=["recorded_canal", "canal"]).astype("string")
    rows = rows.assign(
        site=[f"S{1 + n % sites:02d}" for n in range(len(rows))],
        episode_id=[f"EP-{n}" for n in range(len(rows))],
    )
    same = {"side": "right", "arm": "long", "mechanism": "canalolithiasis"}
    return rows.assign(**same, **{f"recorded_{part}": value for part, value in same.items()})


def rows_of(pairs: pd.DataFrame, plan, stratum: str = "all") -> pd.DataFrame:
    estimates = measure_agreement(pairs, plan.study.guards)
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")


def test_published_kappa_comes_back(plan):
    # Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327, worked example (quoted from
    # memory): 200 cases, proportions agreeing .70, kappa .429, variance .002885 (standard error
    # .054)
    table = np.array([[106, 10, 4], [22, 28, 10], [2, 12, 6]])
    estimates = rows_of(spread(table, ["posterior", "lateral", "anterior"]), plan)
    assert estimates.loc["canal_agreement", "estimate"] == pytest.approx(0.70)
    assert estimates.loc["canal_kappa", "estimate"] == pytest.approx(0.429, abs=5e-4)
    assert estimates.loc["canal_kappa", "std_error"] == pytest.approx(0.002885**0.5, abs=5e-4)


def test_exact_interval_of_a_share(plan):
    # Clopper & Pearson 1934 for 0 of 20 and 20 of 20: 1 - (0.025)^(1/20) = .1684 beside the end
    pairs = spread(np.diag([10, 10, 0]), ["posterior", "lateral", "anterior"]).assign(site="S01")
    perfect = rows_of(pairs, plan).loc["canal_agreement"]
    assert (perfect["lower"], perfect["upper"]) == pytest.approx((1 - 0.1684, 1.0), abs=1e-4)


def test_perfect_agreement_claims_no_certainty(plan):
    kappa = rows_of(spread(np.diag([10, 10, 0]), ["posterior", "lateral", "anterior"]), plan).loc[
        "canal_kappa"
    ]
    assert (kappa["estimate"], kappa["status"]) == (1, "ok")
    assert kappa[["lower", "upper", "std_error"]].isna().all()


def test_few_and_single_valued_pairs_give_a_status(plan):
    too_few = rows_of(spread(np.diag([3, 3, 0]), ["posterior", "lateral", "anterior"]), plan)
    assert too_few.loc["canal_kappa", "status"] == "too_few"
    same = rows_of(spread(np.diag([30, 0, 0]), ["posterior", "lateral", "anterior"]), plan)
    assert same.loc["canal_kappa", "status"] == "not_identified"
    assert same.loc["canal_agreement", "estimate"] == 1


def test_only_named_diagnoses_of_positional_episodes_are_compared(table, plan):
    episodes = table(
        "episodes",
        [
            {"episode_id": f"EP-{n}", "recorded_canal": c}
            for n, c in enumerate(["posterior", "uncertain", "lateral"])
        ],
    )
    verdicts = episodes[["site", "episode_id"]].assign(
        positional=["yes", "yes", "undetermined"],
        canal="posterior",
        side="right",
        arm="long",
        mechanism="canalolithiasis",
    )
    pairs = pair_diagnoses(episodes, verdicts)
    assert pairs["episode_id"].tolist() == ["EP-0", "EP-1"]
    assert rows_of(pairs, plan).loc["canal_agreement", "n_episodes"] == 1


def test_disagreements_name_their_site_and_ambiguous_canals_are_none():
    pairs = spread(np.array([[1, 1], [0, 1]]), ["posterior", "lateral"])
    either = pairs.iloc[[0]].assign(
        canal="anterior_or_posterior", recorded_canal="anterior", episode_id="EP-X"
    )
    differing = list_disagreements(pd.concat([pairs, either]))
    assert differing[["recorded_canal", "canal"]].to_numpy().tolist() == [["posterior", "lateral"]]


def test_arms_and_mechanisms_are_compared_where_both_name_one(table, plan):
    recorded = [
        *[{"recorded_arm": "long"}] * 15,
        *[
            {
                "recorded_arm": "short",
                "arm_basis": "sitting_up",
                "recorded_mechanism": "cupulolithiasis",
            }
        ]
        * 5,
        *[{"recorded_arm": "short", "arm_basis": "treatment_response"}] * 3,
        *[{"recorded_arm": "not_applicable", "recorded_mechanism": "unknown"}] * 2,
    ]
    episodes = table(
        "episodes", [row | {"episode_id": f"EP-{n:02d}"} for n, row in enumerate(recorded)]
    )
    verdicts = episodes[["site", "episode_id"]].assign(
        positional="yes",
        canal="posterior",
        side="right",
        arm=["long"] * 12 + ["cupula"] * 2 + ["long"] * 11,
        mechanism=["canalolithiasis"] * 12 + ["cupulolithiasis"] * 13,
    )
    estimates = rows_of(pair_diagnoses(episodes, verdicts), plan)
    arm, mechanism = estimates.loc["arm_agreement"], estimates.loc["mechanism_agreement"]
    # 13 long and 5 short arms are compared (not the 2 on the cupula, the 3 by response, the 2
    # without an arm)
    assert (arm["n_episodes"], arm["n_events"]) == (18, 13)
    assert estimates.loc["arm:recorded=short,adjudicated=long", "estimate"] == 5
    assert estimates.loc["arm_kappa", "status"] == "not_identified"  # every test says long
    assert (mechanism["n_episodes"], mechanism["n_events"]) == (23, 17)
    assert (
        estimates.loc["mechanism:recorded=canalolithiasis,adjudicated=cupulolithiasis", "estimate"]
        == 6
    )


def test_where_sites_differ_the_limits_of_the_pool_say_so(any_width):
    table = np.array([[80, 20], [20, 80]])
    alike = spread(table, ["posterior", "lateral"], sites=5)
    wrong = alike["canal"].ne(alike["recorded_canal"]).to_numpy()
    # all that disagree are of one site
    differ = alike.assign(site=np.where(wrong, "S01", alike["site"]))
    estimates = {
        name: rows_of(pairs, any_width) for name, pairs in (("alike", alike), ("differ", differ))
    }
    one, other = (estimates[name].loc["canal_agreement"] for name in ("alike", "differ"))
    assert one["estimate"] == other["estimate"]
    assert other["upper"] - other["lower"] > 2 * (one["upper"] - one["lower"])
    assert estimates["differ"].loc["canal_kappa", "status"] == "too_wide"
    middle, reach = np.arctanh(0.6), 1.96 * 0.0566 / (1 - 0.6**2)
    assert estimates["alike"].loc["canal_kappa", ["lower", "upper"]].tolist() == pytest.approx(
        np.tanh([middle - reach, middle + reach]).tolist(), abs=2e-3
    )
