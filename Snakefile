"""From the clinics' deliveries to the committee's report.

    snakemake --cores 2                                             the demonstration pool
    snakemake --cores 2 --config submissions=DIR results=DIR2       a real pool
    snakemake --cores 2 --config plan=DIR                           another plan: a folder with changed copies of config/*.yaml
    snakemake --cores 2 --config previous=DIR                       the estimates of the release before, to hide what their difference would tell
"""

import os
import sys
from pathlib import Path

ROOT = Path(workflow.basedir)
sys.path.insert(0, str(ROOT))
os.environ["PYTHONPATH"] = str(ROOT)
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # jobs share the cores, and sums keep their order
os.environ["STEP_PYTHON"] = sys.executable  # not in the command itself, so that another environment alone reruns nothing

from pipeline.analyses import ANALYSES, LONGEST, module_of
from pipeline.intake.folders import batch_deliveries, list_deliveries
from pipeline.sources import find_sources, list_own_files
from schemas.study import PARTS, SITES, read_config

unknown = set(config) - {"submissions", "results", "plan", "previous"}
if unknown:
    raise WorkflowError(f"--config knows submissions, results, plan and previous, not {', '.join(sorted(unknown))}")
SUBMISSIONS = Path(config.get("submissions", ROOT / "synthetic_data" / "pool"))
RESULTS = Path(config.get("results", "results"))
PLAN = Path(config.get("plan", ROOT / "config"))
PREVIOUS = [Path(config["previous"])] if "previous" in config else []
if not SUBMISSIONS.is_dir():
    raise WorkflowError(f"submissions={SUBMISSIONS} is not a folder")
read_config(PLAN)  # a misspelt key is named before anything runs

PLAN_FILES = [PLAN / f"{name}.yaml" for name in PARTS]
OWN_NAMES = {path.stem: path for path in sorted((PLAN / SITES).glob("*.yaml"))}  # of tables, columns and codes, by site
DELIVERIES, SKIPPED = list_deliveries(SUBMISSIONS)
ROWS = [RESULTS / "rows" / d.site / d.number for d in DELIVERIES]
ROW_TABLES = ("episodes", "examinations", "treatments", "followups", "deliveries", "row_counts", "changes", "set_aside", "problems")
DEMONSTRATION = ROOT / "synthetic_data"
IS_DEMONSTRATION = SUBMISSIONS.resolve() == (DEMONSTRATION / "pool").resolve()  # only there is it known what was planted
SITES = sorted({delivery.site for delivery in DELIVERIES})
WITHDRAWN = [path for site in SITES for path in [SUBMISSIONS / site / "withdrawn.csv"] if path.exists()]


def step(name: str, arguments: str) -> str:
    """The command of a step; what it prints goes to the rule's log, and to the terminal as well if it fails."""
    return f'"$STEP_PYTHON" -m pipeline.steps.{name} {arguments}' + " > {log:q} 2>&1 || {{ cat {log:q} >&2; exit 1; }}"


for name in SKIPPED:
    logger.warning(f"Skipped {name!r}: a site's folder is named S and two or three digits, a delivery's three digits.")


rule all:
    """Everything: the reports, the estimates it reads, and each delivery's own page."""
    input:
        RESULTS / "reports" / "committee.html",
        RESULTS / "reports" / "technical.html",
        [RESULTS / "sites" / site / "report.html" for site in SITES],
        [RESULTS / "unreleased" / "withdrawals.csv"] if WITHDRAWN else [],


include: ROOT / "pipeline" / "rules" / "rows.smk"
include: ROOT / "pipeline" / "rules" / "estimates.smk"
include: ROOT / "pipeline" / "rules" / "reports.smk"
