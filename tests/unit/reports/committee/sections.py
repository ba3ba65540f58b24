"""Estimates for a section of the report, and what the section says."""

from pipeline.statistics.tidy import state, tidy_estimates

MANY = {"n_episodes": 200, "n_events": 90, "n_sites": 8}


def number(term: str, estimate: float, stratum: str = "all", **more) -> dict:
    return state(term, estimate, **{"stratum": stratum, **MANY, **more})


def table(
    analysis: str,
    rows: list[dict],
    population: str = "positional",
    endpoint: str | None = "objective",
) -> dict:
    return {
        analysis: tidy_estimates(
            rows, analysis=analysis, population=population, endpoint=endpoint, method="m"
        )
    }


def words(section: dict) -> str:
    wording = [section["finding"], *section["sentences"], *section["notes"], section["caption"]]
    return " ".join(wording).replace("\u00a0", " ")
