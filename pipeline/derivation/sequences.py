"""Sequences: the maneuver families of an episode in their order, up to resolution."""

from schemas.columns import Frame
from schemas.derived import Adjudications, Attempts, Sequences, Spells
from schemas.keys import EPISODE
from schemas.strata import THEN, TOGETHER

ENDPOINT = "objective"  # by which the outcome of an attempt is judged, too


def list_sequences(
    attempts: Frame[Attempts], adjudications: Frame[Adjudications], spells: Frame[Spells]
) -> Frame[Sequences]:
    """One row for each treated positional episode (schemas.derived.Sequences).

    A session belongs to the path if it began before the day on which resolution was seen: whatever
    was given on that day or later is no way to it. Where several sessions lie between the last
    positive and the first negative test, the last of them is the one after which resolution was
    seen; which of them worked is not known. A negative test before a return within the recurrence
    gap is not the one at which resolution was seen.
    """
    first = spells[spells["spell"].eq(1) & spells["endpoint"].eq(ENDPOINT)]
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    ends = first[[*EPISODE, "right_days", "status"]].merge(
        positional, on=EPISODE, validate="one_to_one"
    )
    sessions = attempts.merge(ends, on=EPISODE, validate="many_to_one")
    sessions = sessions[(sessions["day"] < sessions["right_days"]).astype(bool)].sort_values(
        [*EPISODE, "session"]
    )
    sessions["at_end"] = (
        (sessions["day"] + sessions["next_test_days"]).eq(sessions["right_days"]).fillna(False)
    )
    sessions["family"] = sessions["family"].str.replace(" ", TOGETHER, regex=False)
    paths = sessions.groupby(EPISODE, sort=True).agg(
        patient_id=("patient_id", "first"),
        path=("family", THEN.join),
        outcomes=("outcome", THEN.join),
        sessions=("session", "size"),
        status=("status", "first"),
        at_end=("at_end", "last"),
    )
    resolved = paths["status"].eq("resolved")
    paths["resolved_after"] = paths["sessions"].where(resolved)
    paths["at_next_test"] = paths["at_end"].astype("boolean").where(resolved)
    return Sequences.cast(paths.reset_index())
