"""What a run says at a terminal and in a log: a line a step, what failed, and how it ended;
no control signs where nobody watches."""

import logging
from types import SimpleNamespace

import pytest
from snakemake_interface_logger_plugins.common import LogEvent

from snakemake_logger_plugin_plain import LogHandler, clock


@pytest.fixture
def handler():
    return LogHandler(SimpleNamespace(dryrun=False), None)


def send(handler, event=None, text="", level=logging.INFO, **fields):
    record = logging.LogRecord("snakemake", level, "", 0, text, None, None)
    record.__dict__ |= fields | ({"event": event} if event else {})
    handler.handle(record)


def run_two_steps(handler):
    send(handler, LogEvent.RUN_INFO, stats={"all": 1, "store": 1, "report": 1, "total": 3})
    for number, name in enumerate(("The store", "The report")):
        send(handler, LogEvent.JOB_INFO, jobid=number, rule_msg=name, rule_name="x")
        send(handler, LogEvent.JOB_FINISHED, job_id=number)
    send(handler, LogEvent.JOB_INFO, jobid=2, rule_msg=None, rule_name="all")
    send(handler, LogEvent.JOB_FINISHED, job_id=2)


def test_each_step_has_a_line_with_its_name_and_how_far_it_is(handler, capfd):
    run_two_steps(handler)
    handler.close()
    handler.close()
    lines = capfd.readouterr().err.splitlines()
    assert lines == [
        "2 steps:",
        "1 of 2    0:00  The store (0 s)",
        "2 of 2    0:00  The report (0 s)",
        "Done in 0:00.",
    ]


def test_what_snakemake_says_in_passing_is_left_out_and_warnings_are_not(handler, capfd):
    for text in (
        "Building DAG of jobs...",
        "Select jobs to execute...",
        "Complete log(s): x",
        "Elapsed time: 1",
    ):
        send(handler, text=text)
    send(handler, text="Skipped 'old': no folder of a site.", level=logging.WARNING)
    assert capfd.readouterr().err == "Skipped 'old': no folder of a site.\n"


def test_nothing_to_do_shows_the_summary(handler, capfd):
    send(handler, summarise=lambda: "Open   results/reports/committee.html\n")
    send(handler, text="Nothing to be done (all requested files are present and up to date).")
    handler.close()
    shown = capfd.readouterr().err
    assert shown == (
        "Nothing to be done: everything is up to date.\n\nOpen   results/reports/committee.html\n"
    )


def test_a_failure_shows_the_end_of_the_log_once_and_says_what_was_kept(handler, capfd, tmp_path):
    log = tmp_path / "store.log"
    log.write_text("".join(f"line {number}\n" for number in range(30)), "utf-8")
    send(handler, LogEvent.RUN_INFO, stats={"store": 1, "total": 1})
    send(handler, LogEvent.JOB_INFO, jobid=1, rule_msg="The store", rule_name="store")
    send(
        handler,
        LogEvent.ERROR,
        "RuleException:\nCalledProcessError ...",
        logging.ERROR,
        exception="RuleException",
    )
    for _ in range(2):
        send(handler, LogEvent.JOB_ERROR, level=logging.ERROR, jobid=1, log=[str(log)])
    send(
        handler,
        LogEvent.ERROR,
        "WorkflowError:\nAt least one job did not complete.",
        logging.ERROR,
        exception="WorkflowError",
    )
    handler.close()
    shown = capfd.readouterr().err
    assert shown.count("Failed: The store") == 1
    assert "line 29" in shown
    assert "line 3\n" not in shown
    assert str(log) in shown
    assert "Exception" not in shown
    assert "Error" not in shown
    assert shown.splitlines()[-1] == (
        "Not finished after 0:00, 0 of 1 steps done. What was finished is kept: the next run goes "
        "on from there."
    )


def test_an_error_of_the_workflow_is_told_without_the_place_in_its_files(handler, capfd):
    text = (
        'WorkflowError in file "x/Snakefile", line 4:\nsubmissions=x is not a folder\n  File '
        '"x/Snakefile", line 4, in <module>'
    )
    send(handler, LogEvent.ERROR, text, logging.ERROR, exception="WorkflowError")
    handler.close()
    assert capfd.readouterr().err == "submissions=x is not a folder\n"


def test_stopping_is_said_in_a_sentence(handler, capfd):
    send(handler, LogEvent.RUN_INFO, stats={"store": 1, "total": 1})
    send(handler, LogEvent.JOB_INFO, jobid=1, rule_msg="The store", rule_name="store")
    send(handler, text="Terminating processes on user request, this might take some time.")
    send(handler, LogEvent.JOB_ERROR, level=logging.ERROR, jobid=1, log=[])
    handler.close()
    shown = capfd.readouterr().err
    assert "Failed" not in shown
    assert shown.splitlines()[-1].startswith(
        "Stopped after 0:00, 0 of 1 steps done. What was finished is kept"
    )


def test_a_person_sees_what_is_running_on_a_line_that_goes_away(handler, capfd):
    handler.watched = True
    run_two_steps(handler)
    shown = capfd.readouterr().err
    assert "... The store" in shown
    assert shown.endswith("\r\033[K2 of 2    0:00  The report (0 s)\n")


def test_a_dry_run_lists_the_steps(capfd):
    handler = LogHandler(SimpleNamespace(dryrun=True), None)
    send(handler, LogEvent.RUN_INFO, stats={"all": 1, "store": 1, "total": 2})
    send(handler, LogEvent.JOB_INFO, jobid=1, rule_msg="The store", rule_name="store")
    send(handler, LogEvent.JOB_INFO, jobid=0, rule_msg=None, rule_name="all")
    handler.close()
    assert capfd.readouterr().err == "1 step would run:\n  The store\n"


def test_times_are_minutes_and_seconds():
    assert [clock(seconds) for seconds in (0.4, 59.9, 60, 3725)] == [
        "0:00",
        "0:59",
        "1:00",
        "62:05",
    ]
