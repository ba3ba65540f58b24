"""What the contents list of the committee's page leads to."""

from pipeline.reports.committee.questions import QUESTIONS
from pipeline.reports.committee.standing import HEADINGS


def list_contents(
    sections: list[dict], apart: dict, variants: list[dict], *, moved: bool
) -> list[dict]:
    """The parts of the report, each {name, links}; a link is {key, title}."""
    evidence = list(sections)
    after = next(n for n, section in enumerate(sections, 1) if section["key"] == "failures")
    evidence.insert(after, {"key": "apart", "title": apart["title"]})
    parts = {
        "Answers": [{"key": key, "title": title} for key, title in QUESTIONS.items()],
        "Evidence": [
            *_link(*(["variants"] if variants else []), "time"),
            *({"key": f"{part['key']}-title", "title": part["title"]} for part in evidence),
        ],
        "Pool and methods": _link(
            *(["since"] if moved else []),
            "cautions",
            "limits",
            "flow",
            "people",
            "ledger",
            "meaning",
            "methods",
            "hidden",
            "used",
        ),
    }
    return [{"name": name, "links": links} for name, links in parts.items()]


def _link(*names: str) -> list[dict]:
    return [{"key": f"{name}-title", "title": HEADINGS[name]} for name in names]
