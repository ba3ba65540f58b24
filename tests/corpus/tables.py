"""Prints how the cases went, as tables of counts and lists of what failed."""

from collections import Counter
from collections.abc import Callable, Iterable

from tests.corpus.judge import Outcome


def print_tables(outcomes: list[Outcome]) -> None:
    """One block a kind of case."""
    for kind, write in (
        ("identifiers", _print_identifiers),
        ("clean", _print_clean),
        ("messy", _print_messy),
        ("first", _print_messy),
    ):
        chosen = [outcome for outcome in outcomes if outcome.case.kind == kind]
        if chosen:
            print(f"\n{kind}: {len(chosen)} cases")
            write(chosen)
    _print_list(
        "disagreement of check and workflow",
        [o for o in outcomes if o.disagrees],
        lambda o: o.disagrees,
    )
    _print_list(
        "tracebacks and hangs", [o for o in outcomes if o.crashed], lambda o: ", ".join(o.crashed)
    )


def fate(outcome: Outcome) -> str:
    """What became of a planted value: the worst that was found."""
    for word in ("stored", "quoted"):
        if any(place.startswith(word) for place in outcome.found):
            return word
    return "refused" if outcome.status in ("refused", "nothing") else "dropped"


def _print_identifiers(outcomes: list[Outcome]) -> None:
    columns = ("refused", "dropped", "stored", "quoted")
    _print_counts(outcomes, columns, fate, lambda o: o.case.group)
    _print_counts(outcomes, columns, fate, lambda o: o.case.detail if "/" in o.case.name else "")
    leaks = [outcome for outcome in outcomes if outcome.found]
    _print_list("stored or quoted", leaks, lambda o: f"{o.status}; " + ", ".join(o.found))


def _print_clean(outcomes: list[Outcome]) -> None:
    _print_counts(
        outcomes,
        ("accepted", "set aside", "refused", "nothing"),
        lambda o: o.status,
        lambda o: o.case.group,
    )
    refused = [outcome for outcome in outcomes if outcome.status not in ("accepted", "set aside")]
    _print_list("refused", refused, lambda o: f"{o.status}; {', '.join(o.rules)}")
    costly = [
        outcome for outcome in outcomes if outcome.status == "set aside" and not outcome.case.detail
    ]
    _print_list("rows set aside", costly, lambda o: ", ".join(o.rules))


def verdict(outcome: Outcome) -> str:
    """Whether the person was told: the worst that was found."""
    if outcome.crashed:
        return "traceback"
    if outcome.disagrees:
        return "disagreement"
    return "told wrongly" if outcome.wrong else "not told" if outcome.missing else "told"


def _print_messy(outcomes: list[Outcome]) -> None:
    columns = ("told", "not told", "told wrongly", "traceback", "disagreement")
    _print_counts(outcomes, columns, verdict, lambda o: o.case.group)
    _print_list(
        "told wrongly",
        [o for o in outcomes if o.wrong],
        lambda o: f"{o.status}; {'; '.join(o.wrong)}",
    )
    _print_list(
        "not told",
        [o for o in outcomes if o.missing],
        lambda o: f"{o.status}; {'; '.join(o.missing)}",
    )


def _print_counts(
    outcomes: Iterable[Outcome], columns: tuple[str, ...], word: Callable, group: Callable
) -> None:
    counts: dict[str, Counter] = {}
    for outcome in outcomes:
        counts.setdefault(group(outcome), Counter())[word(outcome)] += 1
    total = sum(counts.values(), Counter())
    print(f"\n{'':42}" + "".join(f"{column:>16}" for column in columns))
    for name, count in [*sorted(counts.items()), ("all", total)]:
        print(f"{name[:41]:42}" + "".join(f"{count[column]:>16}" for column in columns))


def _print_list(title: str, outcomes: list[Outcome], say: Callable[[Outcome], str]) -> None:
    if outcomes:
        print(f"\n{title}: {len(outcomes)}")
    for outcome in outcomes:
        print(f"  {outcome.case.name}: {say(outcome)}")
