"""From a results folder to the groups of 1 to 10 people that come out."""

from tests.attack.bounds import add_bounds
from tests.attack.identities import add_identities
from tests.attack.letters import add_control_limits
from tests.attack.program import Answer, Program
from tests.attack.released import Release
from tests.attack.shares import add_kappas, add_shares
from tests.attack.special import add_special
from tests.attack.system import System, build_system


def know(release: Release) -> tuple[System, Program]:
    """All that a release tells, and the bounds of each count that follow at once."""
    system = build_system(release)
    add_identities(system)
    add_special(system, release)
    add_bounds(system)
    add_control_limits(system, release)
    program = Program(system)
    add_shares(system, program.reach)
    program = Program(system, program)
    add_kappas(system, program.reach)
    return system, Program(system, program)


def find_groups(release: Release) -> list[Answer]:
    """Every group of 1 to 10 people that the tables of one release tell."""
    system, program = know(release)
    return program.solve(list(system.questions.values()))
