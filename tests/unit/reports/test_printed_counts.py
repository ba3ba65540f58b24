"""Every count that the committee's report prints stands in the ledger or in the estimates,
under the very noun that it is printed with."""

import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.render import render_page
from schemas.denominators import BASES
from tests.pool_of_sections import build_everything
from tests.printed_counts import list_allowed, read_counts

SCALES = {"episode": 1009, "treatment session": 1013, "patient": 1019, "site": 1021}
COUNTED = (
    "known_",
    "choice_",
    "failed_first",
    "reached",
    "next=",
    "resolved_at_",
    "no_further",
    "never_tested_again",
)


@pytest.fixture(scope="module")
def estimates(plan):
    return build_everything(plan)


@pytest.fixture(scope="module")
def page(estimates, plan):
    return render_page("committee.html.j2", compose_report(estimates, plan, {}))


def test_every_count_has_its_noun_and_stands_in_the_ledger_or_the_estimates(page, estimates):
    counts, unexplained = read_counts(page)
    assert unexplained == []
    assert {noun for _, noun in counts} >= {"episode", "treatment session", "site"}
    assert len(counts) > 100
    assert counts - list_allowed(estimates) == set()


@pytest.mark.parametrize(
    "sentence",
    [
        # sessions counted as the episodes that they were given in
        "Fourth or later session: 85 given",
        "First session: 1080 given",
        "Of 85 fourth or later sessions the test was negative in 30 %.",
        "Half of 1,523 patients were 63 years or older.",
        "In 1314 of 1,523 cases",
        "Undetermined: 88.",
        "12,345 episodes were handed in.",
    ],
)
def test_a_count_with_a_wrong_noun_or_without_one_is_found(page, estimates, sentence):
    counts, unexplained = read_counts(page.replace("</main>", f"<p>{sentence}</p></main>"))
    assert unexplained or counts - list_allowed(estimates)


def scale_counts(estimates):
    """The same estimates with every count times the prime of its noun."""
    scaled = {}
    for name, rows in estimates.items():
        events = SCALES["treatment session" if name == "attempt_success" else "episode"]
        times = {"n_episodes": SCALES["episode"], "n_events": events, "n_sites": SCALES["site"]}
        counts = (
            rows["method"].eq("count")
            | rows["population"].eq("pool")
            | rows["term"].str.startswith(COUNTED) & ~rows["term"].str.contains("_by_day_")
        )
        effective = rows["term"].str.startswith("effective_n_")
        bases = (
            rows["term"]
            .str.removeprefix("without_")
            .map({base: SCALES[each.noun] for base, each in BASES.items()})
        )
        factor = bases if name == "denominators" else SCALES["episode"]
        estimate = rows["estimate"].mask(effective, rows["estimate"].round())
        scaled[name] = rows.assign(
            estimate=estimate.mask(
                rows["status"].eq("ok") & (counts | effective), estimate * factor
            ),
            **{column: rows[column] * factor for column, factor in times.items()},
        )
    return scaled


def test_every_count_is_a_count_of_its_own_noun(estimates, plan):
    """With counts of each noun multiples of another prime, one of another noun, one that is off,
    or one that is no estimate is found."""
    scaled = render_page("committee.html.j2", compose_report(scale_counts(estimates), plan, {}))
    counts, unexplained = read_counts(scaled)
    assert unexplained == []
    assert sorted((n, noun) for n, noun in counts if n % SCALES[noun]) == []
    assert sum(n > 0 for n, _ in counts) > 100


@pytest.mark.parametrize(
    "words", ["1 episodes", "1 sessions", "1 sites", "1 clinics", "1 further episodes"]
)
def test_the_check_of_one_can_fail(words):
    assert find_disagreements(f"<p>{words} were seen</p>")


def test_nouns_and_verbs_agree_with_one(estimates, plan):
    """The same report with every count at one: no plural beside it, and no verb of many."""
    ones = {}
    for name, rows in estimates.items():
        counted = rows["status"].eq("ok") & (
            rows["method"].eq("count") | rows["population"].eq("pool")
        )
        ones[name] = rows.assign(
            estimate=rows["estimate"].mask(counted, 1.0),
            **{
                column: rows[column].mask(rows[column].notna(), 1)
                for column in ("n_episodes", "n_events", "n_sites")
            },
        )
    report = render_page("committee.html.j2", compose_report(ones, plan, {}))
    assert "1\u00a0episode" in report
    assert find_disagreements(report) == []


def find_disagreements(page: str) -> list[str]:
    import re

    text = re.sub(r"<[^>]+>", " ", page.replace("\u00a0", " "))
    plural = (
        r"(?<![\d,./–−-])(?<!to )1 (?:[a-z]+ ){0,2}?(?:episodes|sessions|sites|clinics|patients|"
        r"variants|reasons|parts)\b"
    )
    verb = (
        r"(?<![\d,./–−-])(?<!to )(?<!of )1 (?:[a-z]+ )?(?:episode|session|site|clinic|patient)(?: "
        r"[a-z]+){0,3}? (?:are|were|have|lie|differ)\b"
    )
    return [match[0] for pattern in (plural, verb) for match in re.finditer(pattern, text)]
