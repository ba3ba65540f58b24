"""Whatever an analysis says of a number that is missing is declared, so that readers learn it."""

import ast
import itertools
from collections.abc import Iterator

from schemas.notes import SENTENCES, STAYS, TOO_FEW, release_note
from tests.contract.test_floors import ROOT

TAKES = {"Refusal": (0, 1), "withhold": (1, 2)}  # where status and note stand


def spell(node: ast.expr) -> Iterator[str]:
    """Every text that an expression of literals can be; blanks are filled with a number."""
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.JoinedStr():
            parts = [list(spell(part)) for part in node.values]
            yield from ("".join(words) for words in itertools.product(*parts))
        case ast.FormattedValue(value=ast.IfExp() as either) | (ast.IfExp() as either):
            yield from itertools.chain(spell(either.body), spell(either.orelse))
        case ast.FormattedValue(value=ast.Name(id="arm")):
            yield "change"
        case ast.FormattedValue(value=ast.Name(id="falls")):
            yield "the log-likelihood falls by 7.1 at 0 and by 7.1 at 7.1"
        case ast.FormattedValue(format_spec=ast.JoinedStr(values=[ast.Constant(value=digits)])):
            yield f"{7:{digits}}"
        case ast.FormattedValue():
            yield "7"


def list_notes() -> Iterator[tuple[str, str]]:
    """Module and sentence of every reason that is spelled in the analyses and their engines.

    Without that of too few, which are never told how few.
    """
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text("utf-8"))):
            match call:
                case ast.Call(func=ast.Name(id="NotConverged"), args=[note]):
                    status = None
                case ast.Call(func=ast.Name(id=name), args=args) if (
                    name in TAKES and len(args) > TAKES[name][1]
                ):
                    status, note = (args[place] for place in TAKES[name])
                case _:
                    continue
            if status is None or "too_few" not in spell(status):
                module = path.relative_to(ROOT).as_posix()
                yield from (
                    (module, sentence) for text in spell(note) for sentence in text.split("; ")
                )


def test_every_reason_that_is_spelled_is_declared():
    notes = list(list_notes())
    assert len(notes) > 50
    assert [
        (module, sentence)
        for module, sentence in notes
        if release_note(sentence, "ok") is None and SENTENCES.get(sentence) != STAYS
    ] == []


def test_a_declared_sentence_is_one_sentence_or_no_note_would_be_recognised():
    assert [sentence for sentence in [*SENTENCES, TOO_FEW] if "; " in sentence] == []
