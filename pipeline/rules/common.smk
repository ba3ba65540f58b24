"""What the rules share: the command of a step, and what a run ends with.

`mem_mb` of a rule is its greatest memory on the demonstration pool, rounded up; one of 25,000
episodes takes several times as much: `--set-resources` says so to a scheduler.
"""


def step(name: str, arguments: str) -> str:
    """The command of a step; what it prints goes to the rule's log.

    A shell of any system understands it.
    """
    seal = "--seal {RESULTS:q}/seals/{rule}.json"
    return f"python -m pipeline.steps.{name} {seal} {arguments} > {{log:q}} 2>&1"


def summarise() -> str:
    """What a whole run ends with; nothing for a run that was asked for a part."""
    asked = workflow.dag_settings
    is_part = asked.targets or asked.until or asked.omit_from
    return "" if is_part or not SUMMARY.exists() else SUMMARY.read_text("utf-8")
