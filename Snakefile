"""From the clinics' deliveries to the committee's report.

snakemake --cores 2                                             the demonstration pool
snakemake --cores 2 --config submissions=DIR results=DIR2       a real pool
snakemake --cores 2 --config plan=DIR                           another plan: a folder with
                                                                changed copies of config/*.yaml
"""

import os
import sys
from pathlib import Path

ROOT = Path(workflow.basedir)
sys.path.insert(0, str(ROOT))
os.environ["PYTHONPATH"] = str(ROOT)
# jobs share the cores, and sums keep their order
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
# its python runs the steps
os.environ["PATH"] = os.pathsep.join(
    [str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)]
)

from pipeline.analyses.plan import ANALYSES, PLANTED, QUESTIONS, list_analyses, module_of
from pipeline.intake.folders import batch_deliveries, fingerprint_state, list_deliveries
from pipeline.results import (
    BRACES,
    Unusable,
    describe_rules,
    find_unsound,
    prepare_folders,
    remove,
    write_rules,
)
from pipeline.sources import find_sources, list_own_files
from schemas.plan_faults import PlanFault
from schemas.plan_parts import fingerprint_parts
from schemas.study import PARTS, SITES, read_config

LOOKING = {"-n", "--dry-run", "--dryrun", "--lint", "--list", "-l", "--summary", "--unlock"}
unknown = set(config) - {"submissions", "results", "plan"}
if unknown:
    raise WorkflowError(
        f"--config knows submissions, results and plan, not {', '.join(sorted(unknown))}"
    )
SUBMISSIONS = Path(config.get("submissions", ROOT / "synthetic_data" / "pool"))
RESULTS = Path(config.get("results", "results"))
PLAN = Path(config.get("plan", ROOT / "config"))
for name, path in {"results": RESULTS, "plan": PLAN, "the project": ROOT}.items():
    if set(BRACES) & set(str(path)):
        raise WorkflowError(
            f"The path of {name}, {path}, has braces, which the workflow cannot use: choose another."
        )
if not SUBMISSIONS.is_dir():
    raise WorkflowError(f"submissions={SUBMISSIONS} is not a folder")
try:
    CONFIG = read_config(PLAN)  # a misspelt key is named before anything runs
except PlanFault as fault:
    raise WorkflowError(str(fault))

PLAN_FILES = [PLAN / f"{name}.yaml" for name in PARTS]
# of tables, columns and codes, by site
OWN_NAMES = {path.stem: path for path in sorted((PLAN / SITES).glob("*.yaml"))}
DELIVERIES, SKIPPED = list_deliveries(SUBMISSIONS)
ROWS = [RESULTS / "rows" / d.site / d.number for d in DELIVERIES]
ROW_TABLES = (
    "episodes",
    "examinations",
    "treatments",
    "followups",
    "deliveries",
    "row_counts",
    "changes",
    "set_aside",
    "problems",
)
DEMONSTRATION = ROOT / "synthetic_data"
# only there is it known what was planted
IS_DEMONSTRATION = SUBMISSIONS.resolve() == (DEMONSTRATION / "pool").resolve()
PLANTED_HERE = PLANTED if IS_DEMONSTRATION else []
INVENTED = "--invented" if IS_DEMONSTRATION else ""  # its pages say so
SITES = sorted({delivery.site for delivery in DELIVERIES})
WITHDRAWN = [
    path for site in SITES for path in [SUBMISSIONS / site / "withdrawn.csv"] if path.exists()
]
WITHDRAWALS = [RESULTS / "unreleased" / "withdrawals.csv"] if WITHDRAWN else []
SUMMARY = RESULTS / "unreleased" / "summary.txt"  # what a run ends with
KEPT = RESULTS / "release" / "latest.csv"  # which of the kept releases this is


include: ROOT / "pipeline" / "rules" / "common.smk"


# no line, but a handler finds it: a run with nothing to do ends without onsuccess
logger.info("", extra={"summarise": summarise})
for name, why in SKIPPED.items():
    logger.warning(f"Skipped {name!r}: {why}")


rule all:
    """Everything: the reports, the estimates it reads, and each delivery's own page."""
    input:
        # all that any rule makes: what was deleted is made anew, even where nothing is made of it
        lambda _: [path for made in RULES.values() for path in made.outputs],


include: ROOT / "pipeline" / "rules" / "rows.smk"
include: ROOT / "pipeline" / "rules" / "estimates.smk"
include: ROOT / "pipeline" / "rules" / "reports.smk"
include: ROOT / "pipeline" / "rules" / "ends.smk"


RULES = describe_rules(RESULTS, workflow.rules)
# whoever only asks what would run neither waits for another run nor changes anything
IS_RUN = not LOOKING & set(sys.argv)
if IS_RUN:
    try:
        LOCK = prepare_folders(RESULTS)
    except Unusable as fault:
        raise WorkflowError(str(fault))
    write_rules(RESULTS, RULES)
for path, was_changed in find_unsound(RESULTS, RULES).items():
    if was_changed:
        logger.warning(f"{path} was changed or damaged since it was made, and is made anew.")
    if IS_RUN:
        remove(Path(path))


onsuccess:
    logger.info(f"\n{summarise()}")
