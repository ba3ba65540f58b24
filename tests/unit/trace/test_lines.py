"""What is said of a released number: all that its row has, and whether anything was fitted."""

from pipeline.releases.package import Package
from pipeline.sources import locate
from pipeline.trace.lines import find_line, say_code, say_printed
from pipeline.trace.released import Printed
from schemas.declared import PLAN
from tests.pool_of_estimates import build_estimates


def say(row: dict, folder) -> str:
    texts = {name: "" if value is None else str(value) for name, value in row.items()}
    return "\n".join(say_printed(Printed("x.csv", 2, texts), Package(folder, {"release": "1"}, {})))


def test_a_number_is_said_as_it_is_printed_and_counted_or_fitted(tmp_path, plan):
    estimates = build_estimates(plan)
    for name, fitted in (("episode_flow", False), ("resolution_curves", True)):
        row = estimates[name].astype(object).where(estimates[name].notna(), None).iloc[0].to_dict()
        said = say(row, tmp_path)
        assert f"printed: {row['estimate']}" in said
        assert f"n_episodes: {row['n_episodes']}" in said
        assert ("It is counted: nothing is fitted." in said) is not fitted
        assert ("It is an answer of an estimator" in said) is fitted


def test_the_function_of_every_analysis_is_found_on_its_line():
    for name, analysis in PLAN.items():
        module, function = analysis.function.split(":")
        path = locate(module)
        line = path.read_text("utf-8").splitlines()[find_line(path, function) - 1]
        assert line.startswith(f"def {function}(")
        assert any(f":{find_line(path, function)} {function}" in said for said in say_code(name))
