"""Success of single attempts: what the next deciding test after a treatment session shows.

Estimated is, among treatment sessions of positional episodes given while the episode was not known
to be resolved and followed by a deciding test before the next session's day had passed, the
probability that this test is negative. An attempt is a session, whatever number of maneuvers it
has; its number counts all sessions of the episode. Sessions without a test tell nothing and are
left out.

The model is a complementary log-log regression (pipeline/statistics/cloglog.py) in which the
logarithm of the gap to the test is a covariate. With a coefficient of 1 it would be the
interval-censored hazard model, which spreads an attempt's effect evenly over the gap; but a
maneuver acts at once and only natural remission goes on. On 20,000 simulated attempts with a
probability of .59 at once, remission in 39 days and a spread of patients of .6 the coefficient was
.14, and a model with it held at 1 gave .13 for a seen .61 after one day and .98 for a seen .79
after 30 days. So the coefficient is estimated, reported as log_gap_slope, and said in words where
its limits exclude 1; where each site tests after the same number of days, nothing tells it from
the levels of the sites, and it is refused. A test that was brought forward because the vertigo
went on is taken for a planned one: probabilities after a few days are then too high.

Sites have an effect each, or a random intercept where they are many. Limits come from leaving out
one site at a time. The model with random intercepts of patients (pipeline/statistics/mixed.py)
tells effects on a patient from selection: later attempts are those of the patients whom the earlier
ones failed. Attempt numbers are always in both models. A likelihood within patients is never used.
Associations, not causes: who gets which maneuver is the clinician's choice.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.analyses.attempts.fits import JackknifeFit, fit_marginal, fit_random, limit_by_sites
from pipeline.analyses.attempts.probabilities import state_chances
from pipeline.analyses.attempts.rows import (
    GAP,
    AttemptDesign,
    count_attempts,
    describe_attempts,
    design_attempts,
)
from pipeline.statistics import site_limits
from pipeline.statistics.cloglog import Rows, fit_cloglog
from pipeline.statistics.design import FOLLOWS, say_shared
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE, p_value
from pipeline.statistics.mixed import BOUNDARY, MixedFit, limit_sd
from pipeline.statistics.quadrature import Groups
from pipeline.statistics.scales import RATIO, SHARE, state_within
from pipeline.statistics.tidy import Fields, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts
from schemas.estimate import Estimates
from schemas.strata import SMALLER_CELLS
from schemas.study import Config, Guards

POPULATION = "positional, attempts with a deciding test"
RAW = f"share of attempts followed by a negative test; {site_limits.METHOD}"
REGRESSION = "complementary log-log regression; intervals: leaving out each site, t distribution"
RANDOM = (
    "complementary log-log regression with random intercepts (adaptive quadrature); intervals: "
    "leaving out each site, in one step"
)
MARGINAL, MIXED = (
    f"{REGRESSION}; std_error of the logarithm",
    f"{RANDOM}; std_error of the logarithm",
)
AVERAGED = "averaged over those at their first attempt"
SEPARATE = ", but for those of a kind of which all, or none, were followed by a negative test"
PROFILE = "adaptive quadrature; intervals: profile likelihood"
CELLS = (("attempt_number",), ("family", "canal_arm", "mechanism"), ("fit",), ("previous",))
MODELS = {"marginal": MARGINAL, "mixed": MIXED}


def estimate_attempt_success(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the success of single attempts.

    Returns
    -------
    Frame[Estimates]
        success_raw of each cell that is large enough; of the models marginal and mixed hazard
        ratios <term>=<class>, log_gap_slope, patient_sd and site_sd, and the probabilities that
        they imply: success, success_in_sequence, resolved, attempts_to_resolve_<percent>.
    """
    rows = describe_attempts(episodes, adjudications, attempts, config.failure.alone)
    stated = [row for columns in CELLS for row in _share_cells(rows, columns, config)]
    stated += _estimate_models(rows, config)
    return tidy_estimates(stated, analysis="attempt_success", population=POPULATION)


def _share_cells(rows: pd.DataFrame, columns: tuple[str, ...], config: Config) -> Iterator[dict]:
    """The raw share of negative tests in each cell that is large enough;
    the others are said to be too small together."""
    least, small = config.study.guards.min_episodes, []
    for values, members in rows.groupby(list(columns), sort=True):
        stratum = ",".join(
            f"{column}={value}" for column, value in zip(columns, values, strict=True)
        )
        fields: Fields = {"stratum": stratum, "method": RAW} | count_attempts(members)
        events, total = int(members["event"].sum()), len(members)
        if fields["n_episodes"] < least:
            small.append(members)
            continue
        low, high = site_limits.bound_share(members["event"], members["site"], config.study.guards)
        note = None if total == fields["n_episodes"] else "some episodes have several attempts"
        yield state_within(
            "success_raw",
            events / total,
            low,
            high,
            SHARE,
            config.study.guards,
            note=note,
            **fields,
        )
    if small:
        fields = {"stratum": SMALLER_CELLS + " x ".join(columns), "method": RAW} | count_attempts(
            pd.concat(small)
        )
        yield withhold(
            "success_raw", "too_few", f"cells with fewer than {least} episodes", **fields
        )


def _estimate_models(rows: pd.DataFrame, config: Config) -> list[dict]:
    """Both models. With fewer than `min_events` outcomes of a kind every class is one of which a
    ratio would rest on a handful, or on none: there is no model then, and the raw shares stay,
    whatever they are."""
    guards = config.study.guards
    fields: Fields = {"stratum": "model=marginal", "method": MARGINAL} | count_attempts(rows)
    refusal = check_size(fields["n_episodes"], int(rows["event"].sum()), guards) or check_sites(
        fields["n_sites"], guards
    )
    fit = refusal or _fit_if_enough(design_attempts(rows, config), guards)
    if isinstance(fit, Refusal):
        return [withhold("model", fit.status, fit.note, **fields)]
    attempts, marginal = fit
    stated = [
        *_state_ratios(rows, attempts, marginal, "marginal", guards),
        _state_slope(attempts, marginal),
    ]
    stated += state_chances(
        attempts, marginal, "marginal", f"{REGRESSION}; {_say_averaged(attempts)}", config
    )
    return stated + _estimate_mixed(rows, attempts, marginal, config)


def _fit_if_enough(
    attempts: AttemptDesign, guards: Guards
) -> tuple[AttemptDesign, JackknifeFit] | Refusal:
    counts = count_attempts(attempts.members)
    without = int((~attempts.members["event"]).sum())
    return (
        check_size(counts["n_episodes"], counts["n_events"], guards, without)
        or check_sites(counts["n_sites"], guards)
        or fit_marginal(attempts)
    )


def _estimate_mixed(
    rows: pd.DataFrame, attempts: AttemptDesign, marginal: JackknifeFit, config: Config
) -> list[dict]:
    """The model with random intercepts; of a flat likelihood nothing but its profile is said."""
    fields = {"stratum": "model=mixed", "method": MIXED} | count_attempts(attempts.members)
    points = config.study.attempt_success.quadrature_points
    mixed = fit_random(attempts, marginal, points)
    if isinstance(mixed, Refusal):
        return [withhold("model", mixed.status, mixed.note, **fields)]
    groups, fit, jackknifed = mixed
    spread = _state_patients(attempts, groups, fit, points)
    if spread["status"] != "ok":
        return [spread, withhold("model", spread["status"], spread["note"], **fields)]
    stated = [
        *_state_ratios(rows, attempts, jackknifed, "mixed", config.study.guards),
        spread,
        _state_sites(attempts, jackknifed, config),
    ]
    return stated + state_chances(
        attempts, jackknifed, "mixed", f"{RANDOM}; {_say_averaged(attempts)}", config
    )


def _state_ratios(
    rows: pd.DataFrame,
    attempts: AttemptDesign,
    jackknifed: JackknifeFit,
    model: str,
    guards: Guards,
) -> Iterator[dict]:
    """A hazard ratio for each class against its reference, or why there is none."""
    design, shared = attempts.design, {"stratum": f"model={model}", "method": MODELS[model]}
    for k, name in enumerate(attempts.covariates):
        term = name.partition("=")[0]
        members = attempts.members[attempts.matrix[:, k] != 0] if "=" in name else attempts.members
        fields: Fields = (
            shared
            | count_attempts(members)
            | {"comparison": _name_reference(name, design.references, term)}
        )
        fields |= {"note": say_shared(design, name)}
        yield _state_log(name, jackknifed.coef[k], jackknifed.without[:, k], guards, fields)
    for name, refusal in sorted(design.refused.items()):
        term, _, value = name.partition("=")
        members = rows[rows[term].astype("string").eq(value)] if value else rows
        yield withhold(name, refusal.status, refusal.note, **shared, **count_attempts(members))


def _state_log(
    term: str, estimate: float, without: np.ndarray, guards: Guards, fields: dict
) -> dict:
    """A ratio from its logarithm."""
    if np.isnan(without).any():
        return withhold(term, RESTS_ON_ONE.status, **fields | {"note": RESTS_ON_ONE.note})
    error, low, high = limit_by_sites(estimate, without)
    ratio, low, high = np.exp([estimate, low, high])
    tested = {"std_error": error, "p_value": p_value(estimate, error, len(without))}
    return state_within(term, ratio, low, high, RATIO, guards, **tested, **fields)


def _state_slope(attempts: AttemptDesign, marginal: JackknifeFit) -> dict:
    """How the hazard grows with the gap, and what holding its coefficient at 1 would cost."""
    fields = {"stratum": "model=marginal", "method": MARGINAL} | count_attempts(attempts.members)
    if GAP not in attempts.names:
        return withhold("log_gap_slope", FOLLOWS.status, FOLLOWS.note, **fields)
    k = attempts.names.index(GAP)
    slope, without = marginal.coef[k], marginal.without[:, k]
    if np.isnan(without).any():
        return withhold("log_gap_slope", RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields)
    error, low, high = limit_by_sites(slope, without)
    free = attempts.collapse()[0]
    at_one = fit_cloglog(
        Rows(np.delete(free.design, k, axis=1), free.design[:, k], free.events, free.failures)
    )
    note = "the offset of an even hazard would be 1"
    if not low <= 1 <= high:
        note += ": it does not fit, since an attempt acts at once"
        again = fit_cloglog(free, marginal.coef)
        if not isinstance(at_one, Refusal) and not isinstance(again, Refusal):
            fall = again.value - at_one.value
            note += f" (log-likelihood lower by {fall:.1f})"
    return state(
        "log_gap_slope", slope, std_error=error, lower=low, upper=high, note=note, **fields
    )


def _state_patients(attempts: AttemptDesign, groups: Groups, fit: MixedFit, points: int) -> dict:
    """The spread of patients with its profile; weak where most patients have one event at most."""
    fields = {"stratum": "model=mixed", "method": PROFILE} | count_attempts(attempts.members)
    low, high, profile = limit_sd(groups, fit, points)
    farthest = max(profile)
    falls = (
        f"the log-likelihood falls by {profile[0.0]:.1f} at 0 and by {profile[farthest]:.1f} at "
        f"{farthest:.1f}"
    )
    if low == 0 and np.isinf(high):
        return withhold(
            "patient_sd", "not_identified", f"the likelihood is flat: {falls}", **fields
        )
    if fit.patient_sd < BOUNDARY:
        return state(
            "patient_sd", 0.0, lower=0.0, upper=high, note=f"at its boundary: {falls}", **fields
        )
    weak = low < fit.patient_sd / 2 or high > 2 * fit.patient_sd
    note = f"weakly identified, since rows end with the first event: {falls}" if weak else None
    upper = None if np.isinf(high) else high
    return state("patient_sd", fit.patient_sd, lower=low, upper=upper, note=note, **fields)


def _state_sites(attempts: AttemptDesign, jackknifed: JackknifeFit, config: Config) -> dict:
    fields = {"stratum": "model=mixed", "method": MIXED} | count_attempts(attempts.members)
    without = jackknifed.site_sd_without
    if not attempts.random_sites or without is None:
        least = config.study.attempt_success.random_sites_from
        return withhold(
            "site_sd",
            "not_identified",
            f"fewer than {least} sites: each has an effect of its own",
            **fields,
        )
    if min(jackknifed.site_sd, *without) < BOUNDARY:
        return state("site_sd", jackknifed.site_sd, note="at its boundary: no interval", **fields)
    error, low, high = limit_by_sites(np.log(jackknifed.site_sd), np.log(without))
    return state(
        "site_sd",
        jackknifed.site_sd,
        std_error=error,
        lower=np.exp(low),
        upper=np.exp(high),
        **fields,
    )


def _say_averaged(attempts: AttemptDesign) -> str:
    return AVERAGED if attempts.complete else AVERAGED + SEPARATE


def _name_reference(name: str, references: dict[str, str], term: str) -> str:
    return (
        f"{term}={references[term]}"
        if "=" in name
        else "one decade younger"
        if term == "age_decade"
        else "one less"
    )
