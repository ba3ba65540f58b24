"""The course under a strategy by the rates of all and without each site, and limits of what is told
of it.

Limits are by leaving out one site at a time, one Newton step from the fit of all (refit_without of
pipeline/statistics/hidden_end_influence.py), and by the information of the model, taking people to
be independent; the wider count.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.analyses.order.strategy import Measure, Strategy
from pipeline.analyses.order.variant_fit import VariantCourses, fit_variants
from pipeline.analyses.resolution.courses import BANDS, BETWEEN, Classes
from pipeline.analyses.resolution.fitted import FORM_SPREAD
from pipeline.statistics.g_formula import Course, Functional, count_exposure, follow, free_form
from pipeline.statistics.guard import Refusal
from pipeline.statistics.hidden_end_influence import know_rates, refit_without
from pipeline.statistics.scales import Scale, limit_by_error, limit_by_sites
from schemas.order_plan import Strategies
from schemas.study import Study


@dataclass(frozen=True)
class Samples:
    """The rates of all and without each site, and how well those of all are known.

    Attributes
    ----------
    classes
        What the rates are of.
    rates
        Natural rates, then jumps; the first row of all, each other one without a site, (1 + sites,
        rates).
    covariance, freed
        Of the logarithms of the rates of all, (rates, rates); with the form freed also of how far
        the natural rate is off on each day, (rates + days, rates + days).
    """

    classes: Classes
    rates: np.ndarray
    covariance: np.ndarray
    freed: np.ndarray


@dataclass(frozen=True)
class Followed:
    """The course under a strategy.

    Attributes
    ----------
    courses
        By sample.
    free
        That of all with the form freed.
    """

    courses: list[Course]
    free: Course

    def count_people(self, measure: Measure, samples: Samples) -> float:
        """Of how many people a measure would be known as well, with the form freed, had each been
        watched all the time."""
        functional = measure.of_course(self.free)
        variance = functional.variance(samples.freed)
        return self.free.spread(measure.weight) / variance if variance > 0 else np.inf


def fit_samples(laid: VariantCourses, study: Study) -> Samples | Refusal:
    """The fit of all, and what it would be without each site, or why there is none."""
    fitted = fit_variants(laid, study)
    if isinstance(fitted, Refusal):
        return fitted
    samples = [fitted.fit.rates, *refit_without(fitted.courses, fitted.fit, laid.sites)]
    rates = np.array([np.r_[each.natural, each.jump[1:]] for each in samples])
    return Samples(fitted.classes, rates, *know_rates(fitted.courses, fitted.fit, FORM_SPREAD))


def follow_strategy(
    variant: str, strategy: Strategy, samples: Samples, plan: Strategies
) -> Followed:
    """Follow a strategy by each sample."""
    classes = samples.classes
    name = next(each for each in classes.variants if each.split(BETWEEN)[-1] == variant)
    horizon = classes.natural.shape[1]
    band = np.searchsorted(BANDS, np.arange(1, horizon + 1), side="right") - 1
    natural = classes.variants.index(name) * len(BANDS) + band
    actions: dict[int, int] = {}
    for k, session in enumerate(strategy.list_sessions(plan.sessions)):
        number, begun = classes.find_jump(name, *session), k * plan.retest_days
        acting = range(begun, begun + classes.jumps[number].days)
        actions |= dict.fromkeys(acting, 1 + number)  # the next session takes its place
    n_natural = len(classes.variants) * len(BANDS)
    exposure = count_exposure(natural, actions, n_natural, samples.rates.shape[1])
    courses = [follow(exposure, rates) for rates in samples.rates]
    return Followed(courses, free_form(courses[0], samples.rates[0, natural]))


def limit_numbers(
    numbers: list[Functional], scale: Scale, samples: Samples
) -> tuple[float, float, float]:
    """Limit a number of the course.

    Parameters
    ----------
    numbers
        By sample.
    scale
        Where it lives.
    samples
        How well the rates are known.

    Returns
    -------
    tuple of float
        The wider standard error, and the wider limits of the two kinds.
    """
    value, without = numbers[0].value, np.array([number.value for number in numbers[1:]])
    error, *by_sites = limit_by_sites(value, without, scale)
    of_model = float(np.sqrt(numbers[0].variance(samples.covariance)))
    by_model = limit_by_error(value, of_model, scale, None)
    low, high = np.fmin(by_sites[0], by_model[0]), np.fmax(by_sites[1], by_model[1])
    return max(error, of_model), float(low), float(high)
