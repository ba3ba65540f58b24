"""Which parts of the plan a step is given, so that a change of another part does not rerun it."""

import hashlib
from typing import Any

from schemas.study import Config, Study

# beside the sites' own names; other steps are given the whole plan
READS = {
    "intake": ("maneuvers",),
    "store": ("maneuvers", "criteria", "failure", "study.resolution"),
}


def take_parts(config: Config, step: str) -> Config:
    """The plan as a step is given it: `READS` and the sites' own names. To read anything else of
    it is a fault of the program (AttributeError), so that nothing is stale."""
    taken: dict[str, Any] = {"sites": config.sites}
    study = {}
    for place in READS[step]:
        whole, _, part = place.partition(".")
        if part:
            study[part] = getattr(config.study, part)
        else:
            taken[whole] = getattr(config, whole)
    return Config.model_construct(**taken, study=Study.model_construct(**study))


def fingerprint_parts(config: Config, step: str) -> str:
    """A SHA-256 over the values of `READS` of a step; the sites' own names are left out, since the
    file of each is an input of its own site's intake alone."""
    taken = take_parts(config, step).model_copy(update={"sites": {}})
    return hashlib.sha256(repr(taken).encode()).hexdigest()
