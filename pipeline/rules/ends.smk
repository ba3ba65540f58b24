"""What a run ends with: the search for those who withdrew, the release as it is kept, a summary."""

if WITHDRAWN:

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


rule keep:
    """Keep what may leave as a release of its own; earlier ones stay as they are."""
    input:
        made=[
            *[RESULTS / "estimates" / f"{name}.csv" for name in [*ANALYSES, *PLANTED_HERE]],
            *[
                RESULTS / "reports" / name
                for name in ("committee.html", "committee.pdf", "figures", "technical.html")
            ],
        ],
        release=RESULTS / "unreleased" / "release.csv",
        withdrawals=WITHDRAWALS,
        code=find_sources("pipeline.steps.keep"),
    output:
        KEPT,
    log:
        RESULTS / "logs" / "keep.log",
    threads: 1
    resources:
        mem_mb=150,
    message:
        "The release, as it is kept"
    shell:
        step(
            "keep",
            "--results {RESULTS:q} --fingerprints {input.release:q} --out {output:q} "
            "{input.made:q}",
        )


rule summary:
    """Say what the run made of the deliveries, for whoever started it; it stays."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        release=RESULTS / "unreleased" / "release.csv",
        kept=KEPT,
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
            "--release {input.release:q} --kept {input.kept:q} --out {output:q} "
            "{params.withdrawals:q} "
            "{input.estimates:q}",
        )
