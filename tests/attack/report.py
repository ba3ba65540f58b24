"""What was found, in words: groups by what they are, never how many people they have."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from tests.attack.figures import search_figures
from tests.attack.groups import describe
from tests.attack.letters import find_sizes
from tests.attack.pages import search_pages
from tests.attack.program import Answer
from tests.attack.released import Release
from tests.attack.releases import find_changes
from tests.attack.solve import know


@dataclass
class Findings:
    """What was asked of groups of 1 to 10 people and came out, or was not settled;
    sentences of pages and figures that tell such; and what else was noticed of sites."""

    answers: list[Answer] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    noticed: list[str] = field(default_factory=list)

    @property
    def groups(self) -> list[Answer]:
        """The groups that came out."""
        return [answer for answer in self.answers if answer.small]

    @property
    def unsettled(self) -> int:
        """How many questions the programs did not settle."""
        return sum(not answer.settled for answer in self.answers)

    @property
    def any(self) -> bool:
        """Whether a group of 1 to 10 people was found."""
        return bool(self.groups or self.sentences)


def attack(release: Release, earlier: Iterable[Release] = (), site: str | None = None) -> Findings:
    """Everything that is found in a release, with earlier ones beside it (the earliest first),
    and with the eyes of a site if one is named."""
    system, program = know(release)
    findings = Findings(program.solve(list(system.questions.values())))
    findings.sentences += [*search_pages(release), *search_figures(release)]
    findings.noticed += find_sizes(system, program)
    series = [*earlier, release]
    pairs = [*pairwise(series), *([(series[0], release)] if len(series) > 2 else [])]
    for before, after in pairs:
        findings.answers += find_changes(before, after)
    if site:
        # only here: it needs the models, and loading them takes seconds
        from tests.attack.own_site import find_others

        findings.answers += find_others(release, site)
    return findings


def describe_findings(findings: Findings) -> list[str]:
    """The findings as lines: first how many of each kind, then each."""
    kinds = Counter(
        (answer.question.kind, "exactly" if answer.exact else "as 1 to 10")
        for answer in findings.groups
    )
    lines = [f"{number:5} {kind} told {how}" for (kind, how), number in sorted(kinds.items())]
    lines += [
        f"{len(findings.sentences):5} on pages and in figures",
        f"{findings.unsettled:5} questions not settled",
        f"{len(findings.noticed):5} noticed of sites (no group of people)",
        "",
    ]
    for answer in sorted(
        findings.groups, key=lambda each: (each.question.kind, not each.exact, each.question.source)
    ):
        how = "comes out exactly" if answer.exact else "is proved to be 1 to 10"
        lines.append(
            f"[{answer.question.kind}] {how}: {describe(answer.question.total)} "
            f"({answer.question.source})"
        )
    return [
        *lines,
        *(f"[page] {sentence}" for sentence in findings.sentences),
        *(f"[site] {each}" for each in findings.noticed),
    ]
