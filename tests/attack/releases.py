"""What releases of one pool tell together: how many people came in, or left,
between two of them."""

from collections.abc import Iterable
from dataclasses import replace

from tests.attack.groups import Sum
from tests.attack.program import Answer, Program
from tests.attack.released import Release
from tests.attack.solve import know
from tests.attack.system import Question, System


def find_changes(earlier: Release, later: Release) -> list[Answer]:
    """The groups to which 1 to 10 people were added, or from which they were taken,
    from one release to the other.

    Nothing is taken for granted of what lies between: a delivery can change and withdraw what an
    earlier one had.
    """
    joined, names = System(), []
    for when, release in (("earlier", earlier), ("later", later)):
        system, program = know(release)
        names.append(set(system.names))
        for rule in system.rules.values():
            joined.bound(_tell_when(rule.total, when), rule.low, rule.high, f"{when}: {rule.why}")
        for name in system.names:
            low, high = program.reach({name: 1})
            joined.bound(_tell_when({name: 1}, when), low, high, f"{when}: bounds of {name}")
        joined.choices += [
            replace(choice, names=tuple(_tell_when(dict.fromkeys(choice.names, 1), when)))
            for choice in system.choices
        ]
    questions = [question for name in sorted(names[0] & names[1]) for question in _ask(name)]
    return Program(joined).solve(questions)


def _tell_when(total: Sum | dict[str, float], when: str) -> dict[str, float]:
    return {f"{when}: {name}": number for name, number in total.items()}


def _ask(name: str) -> Iterable[Question]:
    if name.startswith(("row ", "times of ")):
        return
    for kind, sign in (("came in between", 1), ("left in between", -1)):
        yield Question({f"later: {name}": sign, f"earlier: {name}": -sign}, kind, name)
