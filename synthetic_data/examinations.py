"""The rows of the examinations table: which tests an examination holds, and what each test
shows."""

import numpy as np
import pandas as pd

from synthetic_data.draw import blank, chance, gamma
from synthetic_data.patients import BOTH, LEFT, RIGHT, Cases
from synthetic_data.scenario import Scenario
from synthetic_data.signs import PATTERN_NAMES, PATTERNS, QUIET, SIDED, TESTS, Sign, timing_of
from synthetic_data.sites import Site
from synthetic_data.visits import ENTRY, FOLLOW_UP, NOTHING_SEEN, RETEST, SIGNS

EARS = np.array(["right", "left"], dtype=object)
TIMINGS = [timing_of(name) for name in PATTERN_NAMES]
PANEL = (
    "dix_hallpike",
    "supine_roll",
    "straight_head_hang",
    "half_dix_hallpike",
    "nose_down",
    "sitting_up",
)
POSITIONS = [(test, ear) for test in TESTS for ear in ((RIGHT, LEFT) if test in SIDED else (None,))]
PITCH_TESTS = ("bow", "lean", "lying_down")


def sign_part(part: str, ear: int, test: str) -> np.ndarray:
    """One part of the sign of every pattern in a test: with the affected ear down (`ear` 0)
    or the other (1)."""
    kind = float if part in ("strength", "share", "torsion_share", "expected") else object
    return np.array(
        [getattr(PATTERNS[name].get(test, (QUIET, QUIET))[ear], part) for name in PATTERN_NAMES],
        dtype=kind,
    )


def examine(
    rng: np.random.Generator,
    scenario: Scenario,
    site: Site,
    cases: Cases,
    examinations: pd.DataFrame,
) -> pd.DataFrame:
    """One row per test of every examination; `case` numbers the episode,
    `rank` orders the tests within an examination."""
    count = len(cases)
    of_episode = {  # what stays the same at all examinations of an episode
        "shown": rng.random((count, len(TESTS))),
        "torsion": rng.random(count),
        "expected": rng.random((count, len(TESTS))),
        "peak": gamma(rng, np.array([t.peak for t in TIMINGS])[cases.pattern], count),
        "feels": rng.random(count),
        "side_lying": chance(rng, site.side_lying, count),
    }
    done = choose_tests(rng, site, cases, examinations)
    affected, kind, pattern = (
        examinations[name].to_numpy() for name in ("side", "kind", "pattern")
    )
    skips = chance(rng, scenario.incomplete_test, len(examinations)) & (kind == FOLLOW_UP)
    parts = []
    for rank, (test, ear) in enumerate(POSITIONS):
        chosen = done.get(test)
        if chosen is None:
            continue
        done_here = chosen.copy()
        if ear is not None:
            hits = (affected == ear) | (affected == BOTH)
            tells = (
                np.where(
                    hits,
                    sign_part("strength", 0, test)[pattern],
                    sign_part("strength", 1, test)[pattern],
                )
                > 0
            )
            done_here &= ~(skips & hits) & (hits | tells | (kind != RETEST))
        parts.append(
            show(rng, site, cases, of_episode, examinations[done_here], test, ear).assign(rank=rank)
        )
    rows = pd.concat(parts, ignore_index=True).sort_values(
        ["case", "day", "examination", "rank"], kind="stable"
    )
    lying = of_episode["side_lying"][rows["case"]] & (rows["test"] == "dix_hallpike").to_numpy()
    rows.loc[lying, "test"] = "side_lying"
    return rows.reset_index(drop=True)


def tell_reasons(
    rng: np.random.Generator, tests: pd.DataFrame, examinations: pd.DataFrame
) -> pd.DataFrame:
    """The tests with the reason of their day in each row; on some days it is not recorded, or not
    known (shares invented)."""
    days = examinations[["case", "day", "reason"]].drop_duplicates(ignore_index=True)
    told = days["reason"].to_numpy(object)
    told[chance(rng, 0.02, len(days))] = "unknown"
    days["reason"] = blank(rng, told, 0.06)
    return tests.merge(days, on=["case", "day"], how="left", validate="many_to_one")


def choose_tests(
    rng: np.random.Generator, site: Site, cases: Cases, examinations: pd.DataFrame
) -> dict[str, np.ndarray]:
    """For each test the examinations that hold it.

    A retest repeats only what the present pattern shows; other examinations hold the site's panel.

    The head is always rolled where the Dix-Hallpike test shows nothing vertical (AAO 2017), else as
    often as the site's habit is.
    """
    count, case, pattern = (
        len(cases),
        examinations["case"].to_numpy(),
        examinations["pattern"].to_numpy(),
    )
    shows = {
        test: (sign_part("strength", 0, test) + sign_part("strength", 1, test) > 0)[pattern]
        for test in TESTS
    }
    first, retest = (
        (examinations["kind"] == ENTRY).to_numpy(),
        (examinations["kind"] == RETEST).to_numpy(),
    )
    rolls, hangs, halves = (
        chance(rng, share, count)[case] for share in (site.supine_roll, 0.3, 0.4)
    )
    posterior = np.array(["posterior" in name for name in PATTERN_NAMES])[pattern]
    not_vertical = (sign_part("vertical", 0, "dix_hallpike") == "none")[pattern]
    panel = {
        "dix_hallpike": np.ones(len(examinations), bool),
        "supine_roll": rolls | (shows["supine_roll"] & not_vertical),
        "straight_head_hang": site.head_hang & (hangs | shows["straight_head_hang"]),
        "half_dix_hallpike": site.half_dix_hallpike & (halves | posterior),
        "nose_down": site.half_dix_hallpike & (halves | posterior) & first,
        "sitting_up": np.full(len(examinations), site.sitting_up),
    }
    chosen = {test: np.where(retest, panel[test] & shows[test], panel[test]) for test in PANEL}
    nothing = retest & ~np.any(list(chosen.values()), axis=0)
    chosen["dix_hallpike"] = chosen["dix_hallpike"] | nothing
    return chosen | {
        test: site.pitch_tests & first & (shows[test] | rolls) & shows["supine_roll"]
        for test in PITCH_TESTS
    }


def show(
    rng: np.random.Generator,
    site: Site,
    cases: Cases,
    of_episode: dict,
    examinations: pd.DataFrame,
    test: str,
    ear: int | None,
) -> pd.DataFrame:
    """What one test shows at these examinations: `ear` is the ear that is down,
    None for a test without a side."""
    case, pattern, affected = (
        examinations[name].to_numpy() for name in ("case", "pattern", "side")
    )
    place = TESTS.index(test)
    is_other = (
        np.zeros(len(examinations), int)
        if ear is None
        else ((affected != ear) & (affected != BOTH)).astype(int)
    )
    sign = {
        part: np.where(
            is_other == 0, sign_part(part, 0, test)[pattern], sign_part(part, 1, test)[pattern]
        )
        for part in Sign._fields
    }
    strength = sign["strength"].astype(float) * examinations["strength"].to_numpy()
    active = (
        (examinations["shown"].to_numpy() != NOTHING_SEEN)
        & (of_episode["shown"][case, place] < sign["share"])
        & (strength > 0)
    )
    moving = active & (examinations["shown"].to_numpy() == SIGNS)
    side = np.where(affected == BOTH, RIGHT if ear is None else ear, affected)
    torsion = np.where(sign["torsion"] == "affected", EARS[side], EARS[1 - side])
    turns = (
        moving & (sign["torsion"] != "none") & (of_episode["torsion"][case] < sign["torsion_share"])
    )
    as_expected = of_episode["expected"][case, place] < sign["expected"]
    toward = (sign["horizontal"] == "toward") == as_expected
    by_ear = np.isin(sign["horizontal"], ["toward", "away"])
    horizontal = np.where(by_ear, np.where(toward, EARS[side], EARS[1 - side]), sign["horizontal"])
    nystagmus = moving & ((sign["vertical"] != "none") | turns | (horizontal != "none"))
    return pd.DataFrame(
        {
            "case": case,
            "day": examinations["day"].to_numpy(),
            "examination": examinations["examination"].to_numpy(),
            "after_attempt": examinations["after_attempt"].to_numpy(),
            "test": np.full(len(examinations), test, dtype=object),
            "side": np.full(len(examinations), "none" if ear is None else EARS[ear], dtype=object),
            "vertical": np.where(nystagmus, sign["vertical"], "none"),
            "torsion": np.where(turns, torsion, "none"),
            "horizontal": np.where(nystagmus, horizontal, "none"),
            **measure(rng, site, of_episode["peak"][case], pattern, strength, nystagmus),
            "vertigo": feel(rng, cases, of_episode, examinations, strength, active),
            **watch(rng, site, pattern, test, nystagmus),
        }
    )


def measure(
    rng: np.random.Generator,
    site: Site,
    peak: np.ndarray,
    pattern: np.ndarray,
    strength: np.ndarray,
    nystagmus: np.ndarray,
) -> dict[str, np.ndarray]:
    """Latency, duration and velocities where nystagmus was seen; part of them is not recorded.

    Whole seconds, velocities to .1.
    """
    count = len(pattern)
    latency = gamma(rng, np.array([t.latency for t in TIMINGS])[pattern], count)
    duration = gamma(rng, np.array([t.duration for t in TIMINGS])[pattern], count)
    speed = np.maximum(peak * strength * np.exp(rng.normal(0, 0.15, count)), 0.5)
    kept = np.array([t.kept_at_40s for t in TIMINGS])[pattern]
    late = speed * np.minimum(kept * rng.uniform(0.6, 1.4, count), 1)
    columns = {"latency_s": np.round(latency, 1), "duration_s": np.clip(np.round(duration), 2, 300)}
    columns |= {"peak_spv": np.round(speed, 1), "spv_at_40s": np.round(late, 1)}
    recorded = {"latency_s": site.times_recorded - 0.1, "duration_s": site.times_recorded}
    by_goggles = 0.9 * site.velocities
    return {
        name: blank(rng, np.where(nystagmus, values, np.nan), 1 - recorded.get(name, by_goggles))
        for name, values in columns.items()
    }


def feel(
    rng: np.random.Generator,
    cases: Cases,
    of_episode: dict,
    examinations: pd.DataFrame,
    strength: np.ndarray,
    active: np.ndarray,
) -> np.ndarray:
    """Vertigo during the test, graded by the strength of the sign and by how severe the case is
    (grades invented)."""
    case = examinations["case"].to_numpy()
    share = np.array([t.vertigo for t in TIMINGS])[examinations["pattern"].to_numpy()]
    score = strength + 0.15 * cases.severity[case] + rng.normal(0, 0.2, len(case))
    grade = np.where(score < 0.45, "mild", np.where(score < 0.95, "moderate", "severe"))
    return np.where(active & (of_episode["feels"][case] < share), grade, "none").astype(object)


def watch(
    rng: np.random.Generator, site: Site, pattern: np.ndarray, test: str, nystagmus: np.ndarray
) -> dict[str, np.ndarray]:
    """Fatigue, reversal on sitting up, and whether fixation was removed;
    mostly not tested (shares invented)."""
    count = len(pattern)
    weaker = chance(rng, np.array([t.fatigues for t in TIMINGS])[pattern], count)
    posterior = np.array(["posterior_long" in name for name in PATTERN_NAMES])[pattern]
    turns = chance(rng, np.where(posterior & ("hallpike" in test), 0.75, 0.15), count)
    columns = {}
    for name, yes, tested in (("fatigues", weaker, 0.3), ("reverses_on_sitting", turns, 0.5)):
        answer = np.where(
            chance(rng, tested, count), np.where(yes, "yes", "no"), "not_tested"
        ).astype(object)
        answer[~nystagmus] = None
        columns[name] = answer
    goggles = site.goggles & chance(rng, 0.95, count)
    return columns | {"fixation_removed": np.where(goggles, "yes", "no").astype(object)}
