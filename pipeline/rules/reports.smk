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
            "--plan {PLAN:q} --fingerprints {input.release:q} --ledger {RESULTS:q}/ledger "
            "--page {output.page:q} --pdf {output.pdf:q} --figures {output.figures:q} {params.invented} "
            "{input.estimates:q}",
        )


rule technical:
    """Write the technical report from the estimates; no model runs here."""
    input:
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in [*ANALYSES, *PLANTED_HERE]],
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
