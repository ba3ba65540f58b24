"""From the clinics' deliveries to the committee's report.

    snakemake --cores 2                                             the demonstration pool
    snakemake --cores 2 --config submissions=DIR results=DIR2       a real pool
    snakemake --cores 2 --config plan=DIR                           another plan: a folder with changed copies of config/*.yaml
"""

import os
import sys
from pathlib import Path

ROOT = Path(workflow.basedir)
sys.path.insert(0, str(ROOT))
os.environ["PYTHONPATH"] = str(ROOT)
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # jobs share the cores, and sums keep their order
os.environ["STEP_PYTHON"] = sys.executable  # not in the command itself, so that another environment alone reruns nothing

from pipeline.analyses import ANALYSES, module_of
from pipeline.intake.folders import batch_deliveries, list_deliveries
from pipeline.sources import find_sources, list_own_files
from schemas.study import PARTS, read_config

unknown = set(config) - {"submissions", "results", "plan"}
if unknown:
    raise WorkflowError(f"--config knows submissions, results and plan, not {', '.join(sorted(unknown))}")
SUBMISSIONS = Path(config.get("submissions", ROOT / "synthetic_data" / "pool"))
RESULTS = Path(config.get("results", "results"))
PLAN = Path(config.get("plan", ROOT / "config"))
if not SUBMISSIONS.is_dir():
    raise WorkflowError(f"submissions={SUBMISSIONS} is not a folder")
read_config(PLAN)  # a misspelt key is named before anything runs

PLAN_FILES = [PLAN / f"{name}.yaml" for name in PARTS]
DELIVERIES, SKIPPED = list_deliveries(SUBMISSIONS)
ROWS = [RESULTS / "rows" / d.site / d.number for d in DELIVERIES]
ROW_TABLES = ("episodes", "examinations", "treatments", "followups", "deliveries", "row_counts", "changes", "set_aside", "problems")
DEMONSTRATION = ROOT / "synthetic_data"
IS_DEMONSTRATION = SUBMISSIONS.resolve() == (DEMONSTRATION / "pool").resolve()  # only there is it known what was planted
SITES = sorted({delivery.site for delivery in DELIVERIES})


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


for number, batch in enumerate(batch_deliveries(DELIVERIES)):

    rule:
        """Take in a batch of deliveries: identifiers, reading, types, rules. Bad data end in problems, not in an error."""
        name:
            f"intake_{number}"
        input:
            files=[path for delivery in batch for path in delivery.files],
            plan=PLAN_FILES,
            code=[*find_sources("pipeline.steps.intake"), ROOT / "reports" / "intake.html.j2", ROOT / "reports" / "style.css"],
        output:
            rows=[RESULTS / "rows" / d.site / d.number / f"{table}.parquet" for d in batch for table in ROW_TABLES],
            problems=[RESULTS / "intake" / d.site / d.number / "problems.csv" for d in batch],
            pages=[RESULTS / "intake" / d.site / d.number / "report.html" for d in batch],
        params:
            folders=[str(delivery.folder) for delivery in batch],
        log:
            RESULTS / "logs" / f"intake_{number}.log",
        shell:
            step("intake", "--plan {PLAN:q} --results {RESULTS:q} {params.folders:q}")


rule store:
    """Store every delivery, decide what the looks mean, and write the rows that the models see."""
    input:
        rows=[folder / f"{table}.parquet" for folder in ROWS for table in ROW_TABLES],
        plan=PLAN_FILES,
        code=find_sources("pipeline.steps.store"),
    output:
        update(RESULTS / "warehouse.duckdb"),  # not deleted beforehand: the old one stays whole until the new one is
    params:
        folders=[str(folder) for folder in ROWS],
    log:
        RESULTS / "logs" / "store.log",
    shell:
        step("store", "--plan {PLAN:q} --warehouse {output:q} {params.folders:q}")


rule fingerprint:
    """Say what the numbers were made from."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        plan=PLAN_FILES,
        code=list_own_files(),
    output:
        RESULTS / "unreleased" / "fingerprints.csv",
    log:
        RESULTS / "logs" / "fingerprint.log",
    shell:
        step("fingerprint", "--plan {PLAN:q} --warehouse {input.warehouse:q} --out {output:q}")


rule analyse:
    """Run one analysis of the plan on the stored rows."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        plan=PLAN_FILES,
        code=lambda wildcards: [*find_sources("pipeline.steps.analyse"), *find_sources(module_of(wildcards.analysis))],
    output:
        RESULTS / "unreleased" / "{analysis}.csv",
    wildcard_constraints:
        analysis="|".join(ANALYSES),
    log:
        RESULTS / "logs" / "{analysis}.log",
    shell:
        step("analyse", "--plan {PLAN:q} --warehouse {input.warehouse:q} --out {output:q} {wildcards.analysis}")


rule site_pages:
    """Write each site's own page and its list of disagreements; they stay with the site."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        monitoring=RESULTS / "unreleased" / "site_monitoring.csv",
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        plan=PLAN_FILES,
        code=[*find_sources("pipeline.steps.site_pages"), ROOT / "reports" / "site.html.j2", ROOT / "reports" / "style.css"],
    output:
        [RESULTS / "sites" / site / name for site in SITES for name in ("report.html", "disagreements.csv")],
    params:
        folders=[str(RESULTS / "sites" / site) for site in SITES],
    log:
        RESULTS / "logs" / "site_pages.log",
    shell:
        step("site_pages", "--plan {PLAN:q} --warehouse {input.warehouse:q} --monitoring {input.monitoring:q} "
             "--estimates {input.estimates:q} --sites {params.folders:q}")


rule disclose:
    """Hide small groups in every estimate: what comes out may leave."""
    input:
        estimates=[RESULTS / "unreleased" / f"{name}.csv" for name in ANALYSES],
        plan=PLAN_FILES,
        code=find_sources("pipeline.steps.disclose"),
    output:
        [RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
    log:
        RESULTS / "logs" / "disclose.log",
    shell:
        step("disclose", "--plan {PLAN:q} --out {RESULTS:q}/estimates {input.estimates:q}")


rule report:
    """Write the committee's report from the estimates; no model runs here."""
    input:
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        fingerprints=RESULTS / "unreleased" / "fingerprints.csv",
        plan=PLAN_FILES,
        code=[*find_sources("pipeline.steps.report"), ROOT / "reports" / "committee.html.j2", ROOT / "reports" / "style.css"],
    output:
        RESULTS / "reports" / "committee.html",
    log:
        RESULTS / "logs" / "report.log",
    shell:
        step("report", "--plan {PLAN:q} --fingerprints {input.fingerprints:q} --out {output:q} {input.estimates:q}")


rule planted:
    """Compare what was planted in the demonstration pool with what its looks were read as; nobody in it exists."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        truth=DEMONSTRATION / "truth" / "episodes.csv",
        plan=PLAN_FILES,
        code=find_sources("pipeline.steps.planted"),
    output:
        RESULTS / "estimates" / "planted_variants.csv",
    log:
        RESULTS / "logs" / "planted.log",
    shell:
        step("planted", "--plan {PLAN:q} --truth {input.truth:q} --warehouse {input.warehouse:q} --out {output:q}")


rule technical:
    """Write the technical report from the estimates; no model runs here."""
    input:
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in [*ANALYSES, *(["planted_variants"] if IS_DEMONSTRATION else [])]],
        fingerprints=RESULTS / "unreleased" / "fingerprints.csv",
        plan=PLAN_FILES,
        code=[*find_sources("pipeline.steps.technical"), *(ROOT / "reports").glob("technical.*"), ROOT / "reports" / "style.css"],
    output:
        RESULTS / "reports" / "technical.html",
    log:
        RESULTS / "logs" / "technical.log",
    shell:
        step("technical", "--plan {PLAN:q} --fingerprints {input.fingerprints:q} --out {output:q} {input.estimates:q}")
