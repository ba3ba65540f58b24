"""What every analysis hands on: one row per estimate, and a reason where there is none."""

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from schemas import codes
from schemas.columns import Integer, Number, Table, Text, column


class Estimates(Table):
    analysis: Series[Text] = column("Analysis", filled=True)
    population: Series[Text] = column("Episodes that enter", filled=True)
    endpoint: Series[Text] = column(
        "What counts as resolved; empty where it does not matter", codes=codes.ENDPOINT
    )
    stratum: Series[Text] = column("Part of the population, as variable=value, or all", filled=True)
    term: Series[Text] = column("What the number is", filled=True)
    comparison: Series[Text] = column("What it is compared with; empty if with nothing")
    estimate: Series[Number] = column("Point estimate")
    std_error: Series[Number] = column("Standard error")
    lower: Series[Number] = column("Lower 95 % confidence limit")
    upper: Series[Number] = column("Upper 95 % confidence limit")
    p_value: Series[Number] = column("P-value", ge=0, le=1)
    p_adjusted: Series[Number] = column(
        "P-value adjusted within the pre-specified family", ge=0, le=1
    )
    n_episodes: Series[Integer] = column("Episodes behind the estimate", ge=0)
    n_events: Series[Integer] = column("Events behind the estimate", ge=0)
    n_sites: Series[Integer] = column("Sites behind the estimate", ge=0)
    by_site: Series[Text] = column(
        "Episodes of each site that `n_episodes` counts, and after a slash those that `n_events` "
        "counts, as S01=171/56 S02=88/30; empty in what is released",
        form=r"\S+=\d+(/\d+)?( \S+=\d+(/\d+)?)*",
    )
    rounded: Series[Text] = column(
        "Which of `estimate`, `n_episodes` and `n_events` were rounded to protect small groups: "
        "counts to tens, a share (with its interval) to steps of five percent; empty if none was",
        form=r"(estimate)?( ?n_episodes)?( ?n_events)?",
    )
    method: Series[Text] = column("Estimator and interval", filled=True)
    status: Series[Text] = column(
        "Whether the number can be used", codes=codes.ESTIMATE_STATUS, filled=True
    )
    note: Series[Text] = column("Reason for the status, or what to keep in mind")

    class Config:
        metadata = {
            "key": ["analysis", "population", "endpoint", "stratum", "term", "comparison"],
            "row": "one estimate",
        }

    @pa.dataframe_check(name="number_only_if_usable")
    def _number_only_if_usable(cls, rows: pd.DataFrame) -> pd.Series:
        none = rows[["estimate", "std_error", "p_value", "p_adjusted"]].isna().all(axis=1)
        limits = rows[["lower", "upper"]].notna().sum(axis=1)
        return rows["status"].eq("ok") | (
            none & limits.eq(rows["status"].eq("bounded").astype(int))
        )

    @pa.dataframe_check(name="reason_if_not_usable")
    def _reason_if_not_usable(cls, rows: pd.DataFrame) -> pd.Series:
        return rows["status"].eq("ok") | rows["note"].notna()
