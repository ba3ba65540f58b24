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
from pipeline.sources import find_sources, list_own_files
from schemas.plan_faults import PlanFault
from schemas.study import PARTS, SITES, read_config

unknown = set(config) - {"submissions", "results", "plan"}
if unknown:
    raise WorkflowError(
        f"--config knows submissions, results and plan, not {', '.join(sorted(unknown))}"
    )
SUBMISSIONS = Path(config.get("submissions", ROOT / "synthetic_data" / "pool"))
RESULTS = Path(config.get("results", "results"))
PLAN = Path(config.get("plan", ROOT / "config"))
if not SUBMISSIONS.is_dir():
    raise WorkflowError(f"submissions={SUBMISSIONS} is not a folder")
try:
    read_config(PLAN)  # a misspelt key is named before anything runs
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
INVENTED = "--invented" if IS_DEMONSTRATION else ""  # its pages say so
SITES = sorted({delivery.site for delivery in DELIVERIES})
WITHDRAWN = [
    path for site in SITES for path in [SUBMISSIONS / site / "withdrawn.csv"] if path.exists()
]
WITHDRAWALS = [RESULTS / "unreleased" / "withdrawals.csv"] if WITHDRAWN else []
SUMMARY = RESULTS / "unreleased" / "summary.txt"  # what a run ends with


include: ROOT / "pipeline" / "rules" / "common.smk"


# no line, but a handler finds it: a run with nothing to do ends without onsuccess
logger.info("", extra={"summarise": summarise})
for name, why in SKIPPED.items():
    logger.warning(f"Skipped {name!r}: {why}")


rule all:
    """Everything: the reports, the estimates it reads, and each delivery's own page."""
    input:
        RESULTS / "reports" / "committee.html",
        RESULTS / "reports" / "technical.html",
        [RESULTS / "sites" / site / "report.html" for site in SITES],
        WITHDRAWALS,
        SUMMARY,


include: ROOT / "pipeline" / "rules" / "rows.smk"
include: ROOT / "pipeline" / "rules" / "estimates.smk"
include: ROOT / "pipeline" / "rules" / "reports.smk"


onsuccess:
    logger.info(f"\n{summarise()}")
