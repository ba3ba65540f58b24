"""Every number that a model can state is declared, once, on a scale that it can have,
and whom it counts is told alike everywhere."""

import ast
from itertools import product
from pathlib import Path

import pytest

from pipeline.analyses.plan import ANALYSES, module_of
from pipeline.disclosure.people import Group, describe_row
from pipeline.sources import find_sources
from schemas.declared import DECLARED, find_quantity
from schemas.delivery import Followups
from schemas.identities import (
    CHAINS,
    CONTRASTS,
    DIVIDED,
    ENDPOINTS,
    ENDS,
    SHARE_SUMS,
    SUMS,
    WITHIN,
)
from schemas.notes import SENTENCES, TOO_FEW, release_note
from schemas.quantities import KINDS, SHARES, Kind, People, Quantity, Undeclared, compile_pattern

ROOMS = ("/pipeline/statistics/", "/pipeline/analyses/")  # where numbers are stated
STATES = (
    "state",
    "withhold",
    "_count",
    "_state_number",
    "_state_share",
    "_share",
    "state_within",
    "_state_log",
)
FILLERS = (
    "7",
    "repeat",
    "canal",
    "upper",
    "resolved_by_day_7",
    "further_site",
    "e_value",
    "posterior",
    "negative",
    "stored",
    "any",
    "",
)


def list_terms(path: Path) -> list[list[str]]:
    """What each call in a model that states or withholds a number may call it:
    every text that its first argument can be, as far as it is written there."""
    terms = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        named = (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id in STATES
        )
        if named and node.args and isinstance(node.args[0], ast.Constant | ast.JoinedStr):
            parts = (
                [node.args[0]] if isinstance(node.args[0], ast.Constant) else node.args[0].values
            )
            texts = [[part.value] if isinstance(part, ast.Constant) else FILLERS for part in parts]
            if all(isinstance(text, str) for options in texts for text in options):
                terms.append(["".join(words) for words in product(*texts)])
    return terms


@pytest.mark.parametrize("analysis", ANALYSES)
def test_every_term_that_a_model_writes_is_declared(analysis):
    sources = [
        Path(source)
        for source in find_sources(module_of(analysis))
        if any(room in str(source) for room in ROOMS)
    ]
    terms = [options for source in sources for options in list_terms(source)]
    known = [quantity.pattern for quantities in DECLARED.values() for quantity in quantities]
    assert [
        options[0]
        for options in terms
        if not any(p.fullmatch(text) for p in known for text in options)
    ] == []


def test_the_models_that_are_read_do_state_something():
    sources = {source for analysis in ANALYSES for source in find_sources(module_of(analysis))}
    stating = [source for source in sources if any(room in source for room in ROOMS)]
    assert sum(len(list_terms(Path(source))) for source in stating) > 30


def test_every_analysis_has_declarations_and_every_declaration_a_known_kind():
    assert set(ANALYSES) <= set(DECLARED)
    for quantity in (quantity for quantities in DECLARED.values() for quantity in quantities):
        assert quantity.kind in KINDS
        assert quantity.words
        if KINDS[quantity.kind].counts and quantity.sized:
            assert quantity.episodes is not None, quantity.term
        if quantity.kind in ("count", "share", "part"):
            assert quantity.events is not None, quantity.term


def test_an_unknown_term_is_named_in_a_sentence():
    with pytest.raises(
        Undeclared, match=r"second_line states “ratio_of_ratios” of “all”.*nothing is released"
    ):
        find_quantity("second_line", "all", "ratio_of_ratios")


def test_parameters_are_read_from_term_and_stratum():
    quantity = find_quantity("handicap_change", "all", "fell_by_11_by_day_30")
    assert quantity.parameters == {"points": "11", "day": "30"}
    assert compile_pattern("risk_{arm}_day_{day}").fullmatch("risk_difference_day_7") is None


@pytest.mark.parametrize(
    ("row", "people"),
    [
        (("episode_flow", "pool", "", "all", "followed"), Group("followed objective")),
        (
            ("pool_description", "stored", "", "sex=male", "share"),
            Group("stored", frozenset({("sex", "male")})),
        ),
        (
            ("sequence_paths", "positional", "", "path=start", "next=epley"),
            Group("on path", frozenset({("path", "epley")})),
        ),
        (
            ("sequence_paths", "positional", "", "path=epley", "reached"),
            Group("on path", frozenset({("path", "epley")})),
        ),
        (
            ("second_line", "p", "objective", "variant=x", "changed_to_semont"),
            Group(
                "first session failed",
                frozenset({("variant", "x"), ("choice", "change"), ("to", "semont")}),
            ),
        ),
    ],
)
def test_people_are_called_alike_wherever_they_are_counted(row, people):
    assert describe_row(*row, {}).events == people


def test_sessions_of_one_number_are_people_and_those_of_the_ledger():
    for number, base in enumerate(
        ("first_sessions_tested", "second_sessions_tested", "third_sessions_tested"), 1
    ):
        described = describe_row(
            "attempt_success", "positional", "", f"attempt_number={number}", "success_raw", {}
        )
        assert (
            described.episodes == describe_row("denominators", "pool", "", "all", base, {}).events
        )
        assert described.quantity.kind == "part"
    later = describe_row(
        "attempt_success", "positional", "", "attempt_number=4+", "success_raw", {}
    )
    assert later.quantity.kind == "session share"


def test_the_base_of_a_path_and_of_a_curve_are_those_of_the_flow():
    whole = describe_row(
        "sequence_paths", "positional", "", "path=epley > semont", "reached", {}
    ).episodes
    assert whole == Group("on path", frozenset({("path", "epley")}))
    curve = describe_row(
        "resolution_curves", "positional", "objective", "all", "resolved_by_day_7", {}
    ).episodes
    assert curve == describe_row("episode_flow", "pool", "", "all", "followed", {}).events
    trial = {"x": {"canal": "posterior", "arm": "long+short"}}
    like = describe_row(
        "published_comparison",
        "positional",
        "objective",
        "trial=x,first_maneuver=epley",
        "resolved_by_day_4",
        trial,
    )
    assert like.episodes == Group(
        "followed objective",
        frozenset({("canal", "posterior"), ("arm", "long+short"), ("first_maneuver", "epley")}),
    )
    assert (
        describe_row("published_comparison", "published", "", "trial=x", "odds_ratio", {}).episodes
        is None
    )


def list_names() -> set[str]:
    """The names of all sets of people, with every endpoint, part and day filled in."""
    names = set()
    for quantity in (quantity for quantities in DECLARED.values() for quantity in quantities):
        for people in (quantity.episodes, quantity.events):
            if people is not None:
                for endpoint, part in product(
                    ENDPOINTS,
                    ("canal", "side", "arm", "mechanism"),
                ):
                    names.add(people.name.format_map({"endpoint": endpoint, "part": part}))
    return names


def test_identities_are_of_declared_people_and_terms():
    names = list_names()
    related = (
        {name for each in SUMS for name in (each.whole, *each.parts)}
        | {chain.name for chain in CHAINS}
        | set(ENDS)
    )
    related |= {name for each in WITHIN for name in (each.inner, each.outer)} | set(DIVIDED)
    assert related - names == set()
    for each in (*SHARE_SUMS, *CONTRASTS):
        for term in (*each.terms, *getattr(each, "arms", ())):
            filled = term.format_map({"day": "7", "part": "canal"})
            assert find_quantity(each.analysis, "all", filled).quantity.kind


def test_no_declared_sentence_counts_people():
    for note, released in SENTENCES.items():
        words = note if released is None else released
        assert (
            "episodes" not in words.replace("{number} episodes", "")
            or "{number}" not in words
            or "the least is" in words
        )
    assert (
        release_note("by day 7 the data allow shares of 0.1 to 0.2", "ok")
        == "by day 7 the data allow a range of shares"
    )
    assert release_note("all agree, so that the large-sample interval has no width", "ok") is None
    assert release_note("fewer than 5 without the event", "too_few") == TOO_FEW
    assert release_note("somebody said 7", "ok") is None
    assert (
        release_note("somebody said 7", "not_converged")
        == "not given because the model did not converge or failed its check"
    )
    assert release_note("between day 3 and day 5", "ok") == "between day 3 and day 5"


SCALES = {
    (0, 1): {*SHARES, "modelled share"},
    (-1, 1): {"agreement", "difference of shares"},
    (0, None): {
        *(
            "count",
            "number",
            "days",
            "sessions",
            "years",
            "ratio",
            "spread",
            "difference of fits",
            "size",
        ),
    },
    (None, 1): {"part avoided"},
    (None, None): {"difference of days", "coefficient", "statistic", "criterion"},
}


@pytest.mark.parametrize(("ends", "kinds"), SCALES.items())
def test_each_kind_is_on_the_scale_of_what_it_is(ends, kinds):
    assert {name: (KINDS[name].least, KINDS[name].most) for name in kinds} == dict.fromkeys(
        kinds, ends
    )


def test_scores_are_on_the_scale_of_the_questionnaire():
    total = Followups.describe()["dhi_total"]
    assert (KINDS["points"].least, KINDS["points"].most) == (total.ge, total.le)
    apart = KINDS["difference of points"]
    assert (apart.least, apart.most) == (total.ge - total.le, total.le - total.ge)
    assert set(KINDS) == {"points", "difference of points"}.union(*SCALES.values())


def test_nothing_leaves_beside_a_number_that_tells_of_how_many_it_is():
    # the error of a share or a mean with its value gives the number of people
    assert {name for name, kind in KINDS.items() if kind.error} == {"ratio", "coefficient"}
    assert not any(kind.error and kind.counts for kind in KINDS.values())
    # events and episodes give each other away through a part; only a share is hidden by both
    with_events = {name for name, kind in KINDS.items() if "events" in kind.counts}
    assert with_events == {"count", "share"}
    counted = {name for name, kind in KINDS.items() if "episodes" in kind.counts}
    assert counted == {
        *SHARES,
        *("count", "agreement", "days", "sessions", "years", "points"),
        *("difference of points", "difference of shares", "difference of days"),
    }
    assert {name for name, kind in KINDS.items() if kind.fixed_notes} == {"difference of fits"}


def test_kinds_leave_in_the_decimals_in_which_they_are_told():
    # None: a share, whose steps depend on of how many it is
    assert {name for name, kind in KINDS.items() if kind.decimals is None} == {
        *SHARES,
        "modelled share",
    }
    whole = {name for name, kind in KINDS.items() if kind.decimals == 0}
    assert whole == {"count", "number", "years", "size"}
    tenths = {name for name, kind in KINDS.items() if kind.decimals == 1}
    assert tenths == {
        *("days", "sessions", "points", "difference of points"),
        *("difference of days", "criterion"),
    }
    assert {name for name, kind in KINDS.items() if (kind.decimals or 0) > 2} == {
        "difference of fits"
    }


def test_units_are_those_of_the_numbers():
    units = {name: kind.unit for name, kind in KINDS.items() if kind.unit}
    assert units == {
        "count": "episodes",
        "days": "days",
        "difference of days": "days",
        "sessions": "sessions",
        "years": "years",
        "points": "points",
        "difference of points": "points",
    }


def test_what_is_not_said_of_a_kind_or_a_quantity_is_the_plain_case():
    kind = Kind("a figure")
    assert (kind.least, kind.most, kind.decimals, kind.counts) == (None, None, 2, ())
    assert (kind.error, kind.fixed_notes, kind.unit) == (False, False, "")
    quantity = Quantity("n_{day}", "count", "so many by day {day}")
    assert (quantity.episodes, quantity.events, quantity.worth) == (None, None, 1)
    assert (quantity.stays, quantity.sized) == (False, True)
    assert (quantity.stratum, quantity.direction, quantity.among) == ("", "", "")
    assert (People("stored").by, People("stored").fields) == (None, {})


@pytest.mark.parametrize(
    ("name", "fit", "others"),
    [
        ("day", ("7", "60", "…"), ("", "x", "-7", "7.5")),
        ("points", ("18",), ("", "x")),
        ("percent", ("80",), ("", "x")),
        ("coverage", ("95", "99.9"), ("", "x")),
        ("edge", ("upper", "lower"), ("middle",)),
        ("arm", ("repeat", "change"), ("difference",)),
        ("when", ("before", "after"), ("during",)),
        ("variable", ("canal", "first_maneuver"), ("moon",)),
        ("level", ("posterior long", "a,b=c"), ("",)),
        ("class", ("posterior long", "a,b=c"), ("",)),
        ("family", ("epley", "first session"), ("", "epley,semont")),
        ("endpoint", ("objective",), ("", "a,b", "a:b", "a=b")),
    ],
)
def test_a_parameter_is_filled_by_what_it_may_be_and_nothing_else(name, fit, others):
    pattern = compile_pattern("is_{" + name + "}.")
    for value in fit:
        assert pattern.fullmatch(f"is_{value}.")[name] == value
    assert not any(pattern.fullmatch(f"is_{value}.") for value in others)
    assert not pattern.fullmatch(f"is_{fit[0]}x")  # the point is a point


def test_a_quantity_without_a_stratum_is_of_any():
    whole = Quantity("n", "count", "so many")
    assert whole.strata.fullmatch("all")
    assert whole.strata.fullmatch("canal=lateral,mechanism=x")
    narrow = Quantity("n", "count", "so many", stratum="canal={level}")
    assert narrow.strata.fullmatch("canal=lateral")["level"] == "lateral"
    assert not narrow.strata.fullmatch("all")
    assert whole.pattern.fullmatch("n")
    assert not whole.pattern.fullmatch("nn")


@pytest.mark.parametrize(
    ("template", "fitting", "others"),
    [
        ("{source}_share", ("planted_share", "found_share", "naive_share"), ("told_share",)),
        (
            "changed_to_{family}",
            ("changed_to_epley", "changed_to_epley_semont"),
            ("changed_to_a,b",),
        ),
    ],
)
def test_a_name_in_a_pattern_stands_for_what_it_can_be_and_no_more(template, fitting, others):
    pattern = compile_pattern(template)
    assert all(pattern.fullmatch(term) for term in fitting)
    assert not any(pattern.fullmatch(term) for term in others)
