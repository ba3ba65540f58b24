"""Sites beside their mean in pictures, from released ratios; no site is named, and none can be told
by its place: dots lie by their numbers."""

from pipeline.reports.committee.picture import make_picture
from pipeline.reports.figures.sites import SiteRatio, draw_forest, draw_funnel
from pipeline.reports.readings import Reading, Readings
from schemas.study import Config

RATIO = "rate_ratio"
FUNNEL = (
    "Each dot is a {site}, none of them named: its rate of resolution beside the mean of the "
    "{site}s. The more is known of a {site}, the further right it lies. A {site} equal to the "
    "others would lie in the shaded area with a probability of 95 %, and between the dashed lines "
    "with one of 99.8 %. A {site} outside may differ by its patients or its records; the picture "
    "is no order of merit."
)
FOREST = (
    "Each row is a site, none of them named: the ratio of its rate of resolution to the mean of "
    "the sites, with its 95 % confidence interval. The order is that of the ratios, which chance "
    "alone would make too."
)
FURTHER = "Thick line: where the ratio of a further site is expected (95 % prediction interval)."


def read_ratios(readings: Readings, config: Config) -> list[SiteRatio]:
    """The ratios that have limits, the least first; none where fewer sites have one than the plan
    asks for statements on sites."""
    found = [_read(readings[stratum, RATIO]) for stratum in readings.strata() if "site=" in stratum]
    ratios = sorted(filter(None, found), key=lambda site: (site.ratio, site.low, site.high))
    return ratios if len(ratios) >= config.study.guards.min_sites else []


def picture_funnel(
    readings: Readings,
    config: Config,
    *,
    title: str,
    noun: str,
    size: tuple[int, int] = (340, 250),
) -> dict | None:
    """The ratios against how much is known of each site, `noun` for a site; None without them."""
    ratios = read_ratios(readings, config)
    if not ratios:
        return None
    return make_picture(
        draw_funnel,
        ratios,
        name="figure-sites-funnel",
        title=title,
        description=_say_ratios(ratios),
        caption=FUNNEL.format(site=noun),
        size=size,
    )


def picture_forest(readings: Readings, config: Config, *, title: str) -> dict | None:
    """The ratios with their intervals, and where a further site is expected; None without them."""
    ratios, further = read_ratios(readings, config), _read(readings["all", f"{RATIO}_further_site"])
    if not ratios:
        return None
    description = _say_ratios(ratios)
    if further:
        description += f" A further site is expected from {further.low:.2f} to {further.high:.2f}."
    return make_picture(
        draw_forest,
        ratios,
        further,
        name="figure-sites-forest",
        title=title,
        description=description,
        caption=f"{FOREST} {FURTHER}" if further else FOREST,
    )


def _read(reading: Reading) -> SiteRatio | None:
    """A ratio whose limits lie apart and above 0, as a scale of logarithms needs them."""
    if not reading.usable or reading.lower is None or reading.upper is None:
        return None
    if not 0 < reading.lower < reading.upper or reading.number <= 0:
        return None
    return SiteRatio(reading.number, reading.lower, reading.upper)


def _say_ratios(ratios: list[SiteRatio]) -> str:
    """The numbers in words, the least first."""
    said = "; ".join(f"{row.ratio:.2f} ({row.low:.2f} to {row.high:.2f})" for row in ratios)
    return f"Ratios from the least to the greatest: {said}. In brackets: 95 % confidence intervals."
