"""When a number is held back, and why.

Few data, one site, a category without or with only events, a choice nobody made, a fit that is
none. A guard returns a Refusal or None. The thresholds are those of config/study.yaml.
"""

from dataclasses import dataclass

import numpy as np

from schemas.study import Guards

# of the log-likelihood at its maximum, per unit of its curvature: far below any standard error
GRADIENT_LEFT = 1e-4
# curvature against the greatest one, below which a direction is not determined by the data
FLAT = 1e-8


class Disagreement(Exception):
    """A model and its second fit lie further apart than they may, so that nothing is released.

    The message says which, and what to do.
    """


@dataclass(frozen=True)
class Refusal:
    """Why there is no number.

    Attributes
    ----------
    status
        One of schemas.codes.ESTIMATE_STATUS.
    note
        The reason in words.
    """

    status: str
    note: str


def check_size(
    n_episodes: int, n_events: int | None, guards: Guards, n_without: int | None = None
) -> Refusal | None:
    """Refuse too few episodes, or too few with the event, or without it.

    With these a class of a model cannot be told from others: a ratio would have no end.

    Parameters
    ----------
    n_episodes
        Number of episodes.
    n_events
        How many had the event. A share, a difference of shares and a mean are asked for their
        episodes only, with None: to withhold them for their outcome would hide the best and the
        worst.
    guards
        Thresholds `min_episodes` and `min_events`.
    n_without
        How many did not have the event; None where that does not matter.

    Returns
    -------
    Refusal | None
        "too_few", or None.
    """
    if n_episodes < guards.min_episodes:
        return Refusal("too_few", f"fewer than {guards.min_episodes} episodes")
    if n_events is not None and n_events < guards.min_events:
        return Refusal("too_few", f"fewer than {guards.min_events} events")
    if n_without is not None and n_without < guards.min_events:
        return Refusal("too_few", f"fewer than {guards.min_events} without the event")
    return None


def check_sites(n_sites: int, guards: Guards) -> Refusal | None:
    """Refuse too few sites to say anything of differences between sites.

    Parameters
    ----------
    n_sites
        Number of sites.
    guards
        Threshold `min_sites`.

    Returns
    -------
    Refusal | None
        "not_identified", or None.
    """
    if n_sites < guards.min_sites:
        return Refusal("not_identified", f"fewer than {guards.min_sites} sites")
    return None


def check_solution(gradient: np.ndarray, information: np.ndarray) -> Refusal | None:
    """Check that a point is a maximum of a log-likelihood, whatever the optimiser says.

    The step that Newton's method would still make must be small against the standard errors, and
    no direction flat or rising.

    Parameters
    ----------
    gradient
        Of the log-likelihood at the point, (parameters,).
    information
        Its negative second derivative there, (parameters, parameters).

    Returns
    -------
    Refusal | None
        "not_converged" where the point is no maximum, "not_identified" where the likelihood is
        flat, or None.

    Notes
    -----
    Refused are g' I^-1 g above GRADIENT_LEFT and, with I scaled to a diagonal of ones, a least
    eigenvalue below FLAT times the greatest.
    """
    if not (np.all(np.isfinite(gradient)) and np.all(np.isfinite(information))):
        return Refusal("not_converged", "the likelihood is not finite at the solution")
    scale = np.sqrt(np.abs(np.diag(information)))
    if np.any(scale == 0):
        return Refusal(
            "not_identified", "the likelihood is flat: the data do not determine every coefficient"
        )
    curvature = np.linalg.eigvalsh(information / np.outer(scale, scale))
    if curvature[0] < -FLAT:
        return Refusal("not_converged", "the solution is not a maximum of the likelihood")
    if curvature[0] < FLAT * curvature[-1]:
        return Refusal(
            "not_identified", "the likelihood is flat: the data do not determine every coefficient"
        )
    if gradient @ np.linalg.solve(information, gradient) > GRADIENT_LEFT:
        return Refusal("not_converged", "the gradient is not zero at the solution")
    return None


def check_positivity(chances: np.ndarray, arm: str, guards: Guards) -> Refusal | None:
    """Refuse where some had next to no probability of a choice, or of any other.

    Then nothing can be said of both choices for them.

    Parameters
    ----------
    chances
        Probability of the choice for each episode, (episodes,).
    arm
        Name of the choice, for the note.
    guards
        Threshold `min_chance`: of the probability, of one less it, and of the share of episodes
        that may lie beyond.

    Returns
    -------
    Refusal | None
        "not_identified", or None.
    """
    share = float(np.mean((chances < guards.min_chance) | (chances > 1 - guards.min_chance)))
    if share > guards.min_chance:
        return Refusal(
            "not_identified",
            f"positivity: for {share:.0%} the probability of {arm} is below "
            f"{guards.min_chance:.0%} or "
            f"above {1 - guards.min_chance:.0%}",
        )
    return None
