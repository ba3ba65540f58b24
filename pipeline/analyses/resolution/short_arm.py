"""Why a short arm that was named by the response to a maneuver has no time to resolution.

Nothing is estimated. Who says short arm because a maneuver worked has put the outcome into the name
of the group: its resolution would prove itself, and a comparison with another arm would compare the
definition. Such arms enter no verdict; here they are counted, and refused in so many words.
"""

from pipeline.statistics.tidy import count_sites, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes

STRATUM = "arm=short,basis=treatment_response"
CIRCULAR = (
    "the arm was named by the response to a maneuver (as by Ping L et al. Braz J Otorhinolaryngol "
    "2022;88:733-739), so that its resolution is part of its definition: circular"
)


def refuse_circular_arms(episodes: Frame[Episodes]) -> list[dict]:
    """Refuse a time to resolution of short arms that the response to a maneuver named.

    The canal that was recorded with it is not told apart. Events are not counted: they are what the
    name was given for.

    Parameters
    ----------
    episodes
        Episodes as recorded.

    Returns
    -------
    list of dict
        One withheld row that counts the episodes of such an arm; none if there are none.
    """
    named = episodes["recorded_arm"].eq("short") & episodes["arm_basis"].eq("treatment_response")
    circular = episodes[named.fillna(False).astype(bool)]
    if circular.empty:
        return []
    counts = {"n_episodes": len(circular), "n_events": None, **count_sites(circular)}
    return [withhold("median_days", "not_identified", CIRCULAR, stratum=STRATUM, **counts)]
