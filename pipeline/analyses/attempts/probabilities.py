"""Probabilities that the attempt models imply, averaged over the people in the pool and over what
is unseen of patients and sites.

The people are those at their first attempt, each with own covariates and own gap to the test, as if
no attempt changed the family. `success` of the n-th attempt: were it given to all of them.
`in_sequence`: to those whom the attempts before left unresolved; with a spread of patients those
are the harder ones. `resolved`: after up to n attempts.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.analyses.attempts.fits import JackknifeFit
from pipeline.analyses.attempts.rows import LAST_NUMBER, OTHER, AttemptDesign, count_attempts
from pipeline.statistics.cloglog import find_distinct
from pipeline.statistics.guard import check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.scales import SHARE, limit_by_sites, state_within
from pipeline.statistics.share_limits import clopper_pearson
from pipeline.statistics.tidy import state, withhold
from schemas.study import Config, Guards

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(41)
NUMBER = "attempt_number="


@dataclass(frozen=True)
class People:
    """Distinct people of a site at their first attempt.

    Attributes
    ----------
    design
        Their row of the design, without attempt number and change of family, (rows, columns).
    count
        How many they are, (rows,).
    site
        Number of their site, (rows,).
    """

    design: np.ndarray
    count: np.ndarray
    site: np.ndarray


def gather_people(attempts: AttemptDesign, mask: np.ndarray) -> People:
    """Those of the members at their first attempt for whom `mask` (members,) is true."""
    chosen = mask & attempts.members["session"].eq(1).to_numpy(bool)
    varied = [
        k
        for k, name in enumerate(attempts.names)
        if name.startswith(NUMBER) or name == f"previous={OTHER}"
    ]
    matrix = attempts.matrix[chosen].copy()
    matrix[:, varied] = 0
    distinct, _, index = find_distinct(np.column_stack([attempts.site[chosen], matrix]))
    return People(distinct[:, 1:], np.bincount(index).astype(float), distinct[:, 0].astype(int))


def add_up_effects(attempts: AttemptDesign, coef: np.ndarray, longest: int) -> np.ndarray:
    """Look up the effect of each attempt against the reference.

    Parameters
    ----------
    attempts
        The design.
    coef
        Coefficients of its columns, (columns,).
    longest
        Number of the last attempt.

    Returns
    -------
    np.ndarray
        Log hazard ratios of the attempts 1 to `longest`, (attempts,); nan for a class that is not
        in the model.
    """
    place = {name: k for k, name in enumerate(attempts.names)}
    classes = [str(k) if k < LAST_NUMBER else f"{LAST_NUMBER}+" for k in range(1, longest + 1)]
    reference = attempts.design.references.get("attempt_number", "1")
    return np.array(
        [
            coef[place[NUMBER + name]]
            if NUMBER + name in place
            else 0.0
            if name == reference
            else np.nan
            for name in classes
        ]
    )


def average_survival(people: People, coef: np.ndarray, sd: float, dose: np.ndarray) -> np.ndarray:
    """Average the share not yet resolved over people and what is unseen of patients and sites.

    Parameters
    ----------
    people
        Whom to average over.
    coef
        Coefficients, (columns,); people of a class without one are left out.
    sd
        Standard deviation of the normal log hazard of patients and sites.
    dose
        Hazard in multiples of that of the reference attempt, (doses,).

    Returns
    -------
    np.ndarray
        The mean of exp(-dose exp(x'coef + sd z)) over people and z ~ normal(0, 1), by Gauss-Hermite
        quadrature, (doses,); nan where the dose is.
    """
    known = ~np.isnan(coef)
    usable = ~(people.design[:, ~known] != 0).any(axis=1)
    if not usable.any():
        return np.full(len(dose), np.nan)
    linear = people.design[usable][:, known] @ coef[known]
    share = people.count[usable] / people.count[usable].sum()
    nodes, weights = (NODES, WEIGHTS / WEIGHTS.sum()) if sd > 0 else (np.zeros(1), np.ones(1))
    hazard = np.exp(linear[:, None] + sd * nodes)
    return np.array([share @ np.exp(-hazard * each) @ weights for each in dose])


def predict_chances(
    attempts: AttemptDesign, people: People, jackknifed: JackknifeFit, longest: int
) -> dict[str, tuple]:
    """Predict probabilities of each attempt, of all and without each site.

    Parameters
    ----------
    attempts
        The design.
    people
        Whom to average over.
    jackknifed
        A fit.
    longest
        Number of the last attempt.

    Returns
    -------
    dict
        For success, in_sequence and resolved, as at the head of this file, the probabilities of all
        (attempts,) and those without each site (sites, attempts).
    """
    full = _predict(attempts, people, jackknifed.coef, jackknifed.sd, longest)
    parts = [
        _predict(attempts, _leave_out(people, number), coef, sd, longest)
        for number, (coef, sd) in enumerate(
            zip(jackknifed.without, jackknifed.sd_without, strict=True)
        )
    ]
    return {name: (full[name], np.array([part[name] for part in parts])) for name in full}


def _predict(
    attempts: AttemptDesign, people: People, coef: np.ndarray, sd: float, longest: int
) -> dict[str, np.ndarray]:
    if not people.count.sum() or np.isnan(sd):
        return dict.fromkeys(("success", "in_sequence", "resolved"), np.full(longest, np.nan))
    effect = np.exp(add_up_effects(attempts, coef, longest))
    each = 1 - average_survival(people, coef, sd, effect)
    remaining = average_survival(people, coef, sd, effect.cumsum())
    before = np.append(1.0, remaining[:-1])
    return {"success": each, "in_sequence": 1 - remaining / before, "resolved": 1 - remaining}


def _leave_out(people: People, site: int) -> People:
    kept = people.site != site
    return People(people.design[kept], people.count[kept], people.site[kept])


def state_chances(
    attempts: AttemptDesign, jackknifed: JackknifeFit, model: str, method: str, config: Config
) -> list[dict]:
    """Probabilities of attempts 1, 2, 3 and 4+ for all; with random intercepts also how many
    attempts a share needs, by canal too."""
    everybody = np.ones(len(attempts.members), dtype=bool)
    rows = _state_sequence(
        attempts, jackknifed, everybody, {"stratum": f"model={model}", "method": method}, config
    )
    if model == "mixed":
        for canal in sorted(attempts.members["canal"].dropna().unique()):
            fields = {"stratum": f"model={model},canal={canal}", "method": method}
            rows += _state_sequence(
                attempts,
                jackknifed,
                attempts.members["canal"].eq(canal).to_numpy(bool),
                fields,
                config,
            )
    return rows


def _state_sequence(
    attempts: AttemptDesign,
    jackknifed: JackknifeFit,
    mask: np.ndarray,
    fields: dict,
    config: Config,
) -> list[dict]:
    members = attempts.members[mask]
    begun = members[members["session"].eq(1)]
    refusal = check_size(len(begun), None, config.study.guards)
    fields = fields | count_attempts(begun)
    if refusal:
        return [withhold("success", refusal.status, refusal.note, **fields)]
    per_session = members["session"].value_counts()
    longest = 1
    while per_session.get(longest + 1, 0) >= config.study.guards.min_episodes:
        longest += 1
    chances = predict_chances(attempts, gather_people(attempts, mask), jackknifed, longest)
    mixed = jackknifed.sd > 0
    rows, resolved = [], []
    for k in range(min(longest, LAST_NUMBER)):
        name = f"attempt={k + 1}" + ("+" if k + 1 == LAST_NUMBER else "")
        at_number = members["session"].clip(upper=LAST_NUMBER).eq(k + 1)
        shown = (
            fields | count_attempts(members[at_number]) | {"stratum": f"{fields['stratum']},{name}"}
        )
        for term in ("success", *["success_in_sequence"] * mixed):
            full, without = chances[term.replace("success_in", "in")]
            ends = _limit_chance(full[k], without[:, k], int(at_number.sum()))
            rows.append(
                _state_chance(term, full[k], without[:, k], ends, config.study.guards, shown)
            )
    if mixed:
        full, without = chances["resolved"]
        ends = np.array([_limit_chance(full[k], without[:, k], len(begun)) for k in range(longest)])
        low, high = np.fmax.accumulate(ends[:, 0]), np.fmin.accumulate(ends[::-1, 1])[::-1]
        for k in range(longest):
            shown = fields | {"stratum": f"{fields['stratum']},up_to_attempts={k + 1}"}
            row = _state_chance(
                "resolved", full[k], without[:, k], (low[k], high[k]), config.study.guards, shown
            )
            resolved.append(row)
        rows += [
            _state_number(share, resolved, fields)
            for share in config.study.attempt_success.resolved_shares
        ]
    return rows + resolved


def _limit_chance(chance: float, without: np.ndarray, number: int) -> tuple[float, float]:
    """By leaving out each site, or exact for so many attempts where these reach further."""
    _, low, high, _ = limit_by_sites(chance, without, SHARE)
    exact = clopper_pearson(chance, number)
    return float(np.fmin(low, exact[0])), float(np.fmax(high, exact[1]))


def _state_chance(
    term: str,
    chance: float,
    without: np.ndarray,
    ends: tuple[float, float],
    guards: Guards,
    fields: dict,
) -> dict:
    """A probability with its limits."""
    if np.isnan(chance):
        return withhold(term, "not_identified", "this attempt number is not in the model", **fields)
    if np.isnan(without).any():
        return withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields)
    error = limit_by_sites(chance, without, SHARE)[0]
    return state_within(term, chance, *ends, SHARE, guards, std_error=error, **fields)


def _state_number(share: float, resolved: list[dict], fields: dict) -> dict:
    """After how many attempts `share` is resolved; its limits are those of the shares resolved."""
    term = f"attempts_to_resolve_{share:.0%}".rstrip("%")
    if any(row["status"] != "ok" for row in resolved):
        return withhold(term, "not_identified", "the shares resolved are not known", **fields)

    def reach(limit: str) -> float | None:
        return next(
            (float(k) for k, row in enumerate(resolved, start=1) if row[limit] >= share), None
        )

    reached = reach("estimate")
    if reached is None:
        return withhold(
            term,
            "not_identified",
            f"not reached after {len(resolved)} attempts; the data end there",
            **fields,
        )
    note = "attempts one after another, each seen after the gap of the first"
    note += "" if reach("lower") else f"; no upper confidence limit within {len(resolved)} attempts"
    return state(term, reached, lower=reach("upper"), upper=reach("lower"), note=note, **fields)
