"""An outside attack on what a run releases: everything a clever statistician could work out from
the files and pages that may leave.

Nothing here knows how groups are hidden. Read are the released tables (`released`), each number
taken for a count of people of a named group (`groups`, `readings_*`); what must hold between such
counts is written down as equations (`identities`, `paths`, `shares`); and integer programs ask of
each hidden count what it can be (`program`). Pages and figures are read for numbers that the tables
hide (`pages`, `figures`), releases for what came in between (`releases`), and all of it again with
the eyes of one site that knows its own rows (`own_site`).

    python -m tests.attack RESULTS [--earlier RESULTS ...] [--site S01]
"""
