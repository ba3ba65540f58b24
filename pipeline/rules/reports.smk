"""From the estimates to what people read."""


rule report:
    """Write the committee's report from the estimates; no model runs here."""
    input:
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        release=RESULTS / "unreleased" / "release.csv",
        plan=PLAN_FILES,
        code=[
            *find_sources("pipeline.steps.report"),
            *(ROOT / "reports").glob("committee.*"),
            ROOT / "reports" / "style.css",
        ],
    output:
        page=RESULTS / "reports" / "committee.html",
        pdf=RESULTS / "reports" / "committee.pdf",
        figures=directory(RESULTS / "reports" / "figures"),
    log:
        RESULTS / "logs" / "report.log",
    threads: 1
    resources:
        mem_mb=300,
    params:
        invented=INVENTED,
    message:
        "The committee's report"
    shell:
        step(
            "report",
            "--plan {PLAN:q} --fingerprints {input.release:q} --page {output.page:q} "
            "--pdf {output.pdf:q} --figures {output.figures:q} {params.invented} "
            "{input.estimates:q}",
        )


rule technical:
    """Write the technical report from the estimates; no model runs here."""
    input:
        estimates=[
            RESULTS / "estimates" / f"{name}.csv"
            for name in [*ANALYSES, *(PLANTED if IS_DEMONSTRATION else [])]
        ],
        release=RESULTS / "unreleased" / "release.csv",
        figures=RESULTS / "reports" / "figures",
        plan=PLAN_FILES,
        code=[
            *find_sources("pipeline.steps.technical"),
            *(ROOT / "reports").glob("technical.*"),
            ROOT / "reports" / "style.css",
        ],
    output:
        RESULTS / "reports" / "technical.html",
    log:
        RESULTS / "logs" / "technical.log",
    threads: 1
    resources:
        mem_mb=250,
    params:
        invented=INVENTED,
    message:
        "The technical report"
    shell:
        step(
            "technical",
            "--plan {PLAN:q} --fingerprints {input.release:q} "
            "--figures {input.figures:q} --out {output:q} {params.invented} "
            "{input.estimates:q}",
        )


rule site_pages:
    """Write each site's own page and its list of disagreements; they stay with the site."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        plan=PLAN_FILES,
        code=[
            *find_sources("pipeline.steps.site_pages"),
            ROOT / "reports" / "site.html.j2",
            ROOT / "reports" / "style.css",
        ],
    output:
        [
            RESULTS / "sites" / site / name
            for site in SITES
            for name in ("report.html", "disagreements.csv")
        ],
    log:
        RESULTS / "logs" / "site_pages.log",
    threads: 1
    resources:
        mem_mb=350,
    params:
        folders=[str(RESULTS / "sites" / site) for site in SITES],
        invented=INVENTED,
    message:
        "The sites' own pages"
    shell:
        step(
            "site_pages",
            "--plan {PLAN:q} --warehouse {input.warehouse:q} "
            "--estimates {input.estimates:q} --sites {params.folders:q} {params.invented}",
        )


rule withdrawals:
    """Search everything that was made for those who withdrew their consent;
    it fails if one is found."""
    input:
        own_names=list(OWN_NAMES.values()),
        made=[
            RESULTS / "warehouse.duckdb",
            [
                RESULTS / "intake" / d.site / d.number / name
                for d in DELIVERIES
                for name in ("report.html", "problems.csv")
            ],
            [RESULTS / "sites" / site / "report.html" for site in SITES],
            [RESULTS / "reports" / f"{name}.html" for name in ("committee", "technical")],
        ],
        code=find_sources("pipeline.steps.withdrawals"),
    output:
        RESULTS / "unreleased" / "withdrawals.csv",
    log:
        RESULTS / "logs" / "withdrawals.log",
    threads: 1
    resources:
        mem_mb=300,
    params:
        folders=[str(path.parent) for path in WITHDRAWN],
        # content decides: a list that was put back is older than what it replaces
        state=fingerprint_state(DELIVERIES),
    message:
        "Search for those who withdrew their consent"
    shell:
        step(
            "withdrawals",
            "--plan {PLAN:q} --results {RESULTS:q} --out {output:q} " "{params.folders:q}",
        )


rule summary:
    """Say what the run made of the deliveries, for whoever started it; it stays."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        release=RESULTS / "unreleased" / "release.csv",
        withdrawals=WITHDRAWALS,
        code=find_sources("pipeline.steps.summary"),
    output:
        SUMMARY,
    log:
        RESULTS / "logs" / "summary.log",
    threads: 1
    resources:
        mem_mb=250,
    params:
        withdrawals=[word for path in WITHDRAWALS for word in ("--withdrawals", str(path))],
    message:
        "What became of the deliveries"
    shell:
        step(
            "summary",
            "--warehouse {input.warehouse:q} --results {RESULTS:q} "
            "--release {input.release:q} --out {output:q} {params.withdrawals:q} "
            "{input.estimates:q}",
        )
