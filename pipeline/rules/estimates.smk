"""From the warehouse to estimates that may leave."""

for place, (question, title) in enumerate(QUESTIONS.items()):

    rule:
        """Run the analyses of a question on the stored rows."""
        name:
            f"analyse_{question}"
        input:
            warehouse=RESULTS / "warehouse.duckdb",
            plan=PLAN_FILES,
            code=sorted(
                {
                    path
                    for module in [
                        "pipeline.steps.analyse",
                        *map(module_of, list_analyses(question)),
                    ]
                    for path in find_sources(module)
                }
            ),
        output:
            [RESULTS / "unreleased" / f"{name}.csv" for name in list_analyses(question)],
        log:
            RESULTS / "logs" / f"analyse_{question}.log",
        priority: len(QUESTIONS) - place
        threads: 1
        resources:
            mem_mb=600,
        params:
            analyses=list_analyses(question),
        message:
            title
        shell:
            step(
                "analyse",
                "--plan {PLAN:q} --warehouse {input.warehouse:q} --out {RESULTS:q}/unreleased "
                "{params.analyses:q}",
            )


if IS_DEMONSTRATION:

    rule planted:
        """Compare what was planted in the demonstration pool with what its tests were read as and
        with what is released; nobody in it exists."""
        input:
            warehouse=RESULTS / "warehouse.duckdb",
            truth=[DEMONSTRATION / "truth" / f"{name}.csv" for name in ("episodes", "answers")],
            estimates=[
                RESULTS / "estimates" / f"{name}.csv" for name in ("strategies", "first_choice")
            ],
            plan=PLAN_FILES,
            code=find_sources("pipeline.steps.planted"),
        output:
            [RESULTS / "estimates" / f"{name}.csv" for name in PLANTED],
        log:
            RESULTS / "logs" / "planted.log",
        threads: 1
        resources:
            mem_mb=300,
        params:
            truth=DEMONSTRATION / "truth",
        message:
            "What was planted beside what was found"
        shell:
            step(
                "planted",
                "--plan {PLAN:q} --truth {params.truth:q} --warehouse {input.warehouse:q} "
                "--estimates {RESULTS:q}/estimates",
            )


rule disclose:
    """Hide small groups in all estimates and audit them together: what comes out may leave,
    and nothing comes out if the audit fails."""
    input:
        estimates=[RESULTS / "unreleased" / f"{name}.csv" for name in ANALYSES],
        fingerprints=RESULTS / "unreleased" / "fingerprints.csv",
        plan=PLAN_FILES,
        code=find_sources("pipeline.steps.disclose"),
    output:
        estimates=[RESULTS / "estimates" / f"{name}.csv" for name in ANALYSES],
        release=RESULTS / "unreleased" / "release.csv",
    log:
        RESULTS / "logs" / "disclose.log",
    threads: 1
    resources:
        mem_mb=300,
    params:
        # no input and no output: it only grows, and what is already in it makes nothing new
        ledger=RESULTS / "ledger",
    message:
        "Protection of small groups and single sites"
    shell:
        step(
            "disclose",
            "--plan {PLAN:q} --ledger {params.ledger:q} "
            "--fingerprints {input.fingerprints:q} --release {output.release:q} "
            "--out {RESULTS:q}/estimates {input.estimates:q}",
        )
