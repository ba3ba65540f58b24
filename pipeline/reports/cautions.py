"""Which findings need urgent assessment, and which conditions ask for caution before a maneuver:
said from the plan, so that a page names all that the rules name."""

from collections.abc import Mapping

from schemas.criteria import Criteria
from schemas.maneuver import CAUTION, Maneuver

SOURCE = "Johns and Quinn, CMAJ 2020;192:E182; nystagmus that changes with gaze: from memory"
URGENT = ("decisive", "strong")  # weights of an answer that asks for it


def list_red_flags(criteria: Criteria) -> list[str]:
    """The answers of a record that count as red flags, in the order of the plan."""
    return [
        flag.says
        for flag in criteria.flags.values()
        if flag.field is not None and flag.weight in URGENT
    ]


def say_red_flags(criteria: Criteria) -> str:
    """One sentence: the findings that need urgent assessment, with their source."""
    findings = "; ".join(says[:1].lower() + says[1:] for says in list_red_flags(criteria))
    return f"These need urgent assessment by local rules: {findings} ({SOURCE})."


def tabulate_cautions(maneuvers: Mapping[str, Maneuver]) -> list[dict[str, str]]:
    """A row for each maneuver that asks for caution: its name, in which conditions, and the
    source."""
    return [
        {
            "maneuver": maneuver.name,
            "conditions": "; ".join(CAUTION[code] for code in maneuver.cautions.codes),
            "source": f"{maneuver.cautions.source} ({maneuver.cautions.standing})",
        }
        for maneuver in maneuvers.values()
        if maneuver.cautions
    ]
