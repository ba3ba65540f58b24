"""From the deliveries to the warehouse, and what the numbers are made from."""

for number, batch in enumerate(batch_deliveries(DELIVERIES)):

    rule:
        """Take in a batch of deliveries: identifiers, reading, types, rules.

        Bad data end in problems, not in an error.
        """
        name:
            f"intake_{number}"
        input:
            own_names=[OWN_NAMES[delivery.site] for delivery in batch if delivery.site in OWN_NAMES],
            code=[
                *find_sources("pipeline.steps.intake"),
                ROOT / "reports" / "intake.html.j2",
                ROOT / "reports" / "style.css",
            ],
        output:
            rows=[
                RESULTS / "rows" / d.site / d.number / f"{table}.parquet"
                for d in batch
                for table in ROW_TABLES
            ],
            problems=[RESULTS / "intake" / d.site / d.number / "problems.csv" for d in batch],
            pages=[RESULTS / "intake" / d.site / d.number / "report.html" for d in batch],
        log:
            RESULTS / "logs" / f"intake_{number}.log",
        threads: 1
        resources:
            mem_mb=600,
        params:
            folders=[str(delivery.folder) for delivery in batch],
            invented=INVENTED,
            # what it is given of the plan; a change elsewhere takes nothing in anew
            plan=fingerprint_parts(CONFIG, "intake"),
            # no input: a file that vanishes meanwhile refuses its delivery, and stops nobody else
            state=fingerprint_state(batch),
        message:
            f"Deliveries of {', '.join(sorted({d.site for d in batch}))}"
        shell:
            step(
                "intake",
                "--plan {PLAN:q} --results {RESULTS:q} {params.invented} {params.folders:q}",
            )


rule store:
    """Store every delivery, decide what the tests mean, and write the rows that the models see."""
    input:
        rows=[folder / f"{table}.parquet" for folder in ROWS for table in ROW_TABLES],
        code=find_sources("pipeline.steps.store"),
    output:
        # not deleted beforehand: the old one stays whole until the new one is
        update(RESULTS / "warehouse.duckdb"),
    log:
        RESULTS / "logs" / "store.log",
    threads: 1
    resources:
        mem_mb=400,
    params:
        plan=fingerprint_parts(CONFIG, "store"),
        folders=[str(folder) for folder in ROWS],
    message:
        "The store: what the examinations mean, episode by episode"
    shell:
        step("store", "--plan {PLAN:q} --warehouse {output:q} {params.folders:q}")


rule fingerprint:
    """Say what the numbers were made from."""
    input:
        warehouse=RESULTS / "warehouse.duckdb",
        plan=PLAN_FILES,
        own_names=list(OWN_NAMES.values()),
        code=list_own_files(),
    output:
        RESULTS / "unreleased" / "fingerprints.csv",
    log:
        RESULTS / "logs" / "fingerprint.log",
    threads: 1
    resources:
        mem_mb=250,
    params:
        withdrawn=list(map(str, WITHDRAWN)),
        state=fingerprint_state(DELIVERIES),  # the lists are no inputs, as in intake
    message:
        "Fingerprints of deliveries, plan and code"
    shell:
        step(
            "fingerprint",
            "--plan {PLAN:q} --warehouse {input.warehouse:q} --out {output:q} {params.withdrawn:q}",
        )
