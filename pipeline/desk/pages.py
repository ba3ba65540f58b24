"""The page's program: what it answers to each request."""

import secrets
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from pipeline.coordinator.word_list import NotMeant, add_meanings
from pipeline.desk.answers import (
    LANGUAGES,
    NAMES,
    WORDS,
    WORKBOOK,
    Voice,
    hand_out,
    keep,
    read_form,
    read_rows,
    read_words,
)
from pipeline.desk.clock import Clock
from pipeline.desk.job import FAILED, RUNNING, WAITING, Job
from pipeline.desk.save import (
    NobodyWithdrew,
    NotSaved,
    make_withdrawn,
    make_workbook,
    pack_delivery,
)
from pipeline.desk.verdict import describe_columns
from pipeline.desk.visit import describe_visit
from pipeline.desk.words import describe_words, read_answers
from pipeline.intake.folders import SITE, WITHDRAWN
from pipeline.steps.run import tell_fault
from schemas.dictionary import list_current_entries
from schemas.site_map import SiteMap, write_site_map
from schemas.study import read_config

MOST_JOBS = 8  # kept at a time; the oldest gives way


class Desk:
    """The answers, and the checks that were asked for.

    Parameters
    ----------
    plan
        Folder with the plan.
    place
        Folder for copies.
    clock
        Hears that the page is in use.
    """

    def __init__(self, plan: Path, place: Path, clock: Clock):
        self.plan, self.place, self.clock = plan, place, clock
        config = read_config(plan)
        self.sites = config.sites
        self.maneuvers = {code: m.name for code, m in config.maneuvers.items()}
        self.dictionary = describe_columns(self.maneuvers)
        entries = list_current_entries(self.maneuvers)
        self.visit = describe_visit(entries, WORDS["labels"], config.maneuvers)
        self.jobs: dict[str, Job] = {}
        self.voice = Voice()
        of_job = "/checks/{job}"
        self.app = Starlette(
            routes=[
                Route("/", self.show_start),
                Route("/alive", self.keep_alive, methods=["POST"]),
                Route("/close", self.close, methods=["POST"]),
                Route("/workbook", self.save_workbook, methods=["POST"]),
                Route("/language", self.choose_language, methods=["POST"]),
                Route("/visit", self.show_visit),
                Route("/withdrawn", self.save_withdrawn, methods=["POST"]),
                Route("/checks", self.open_job, methods=["POST"]),
                Route(of_job, self.show_job),
                Route(f"{of_job}/files", self.take_file, methods=["POST"]),
                Route(f"{of_job}/begin", self.begin_job, methods=["POST"]),
                Route(f"{of_job}/rows", self.add_rows, methods=["POST"]),
                Route(f"{of_job}/entered", self.tell_entered),
                Route(f"{of_job}/book", self.save_book),
                Route(f"{of_job}/stop", self.stop_job, methods=["POST"]),
                Route(f"{of_job}/news", self.tell_news),
                Route(f"{of_job}/marked", self.save_marked),
                Route(f"{of_job}/words", self.show_words),
                Route(f"{of_job}/words", self.take_words, methods=["POST"]),
                Route(f"{of_job}/list", self.save_list),
                Route(f"{of_job}/delivery", self.save_delivery),
            ],
            exception_handlers={
                HTTPException: lambda request, fault: self.voice.refuse("gone", fault.status_code),
                Exception: self.tell_of_fault,
            },
        )

    def show_start(self, request: Request) -> Response:
        """The page on which everything begins."""
        self.clock.use()
        return self.voice.show("desk.html.j2", {"languages": list(NAMES.items())})

    def show_visit(self, request: Request) -> Response:
        """The page on which an episode is typed."""
        self.clock.use()
        return self.voice.show("desk_visit.html.j2", {"visit": self.visit})

    async def choose_language(self, request: Request) -> Response:
        """The language in which the page goes on."""
        self.clock.use()
        language = await read_words(request, "language")
        if language not in LANGUAGES:
            raise HTTPException(400)
        self.voice.language = language
        return Response(status_code=204)

    def keep_alive(self, request: Request) -> Response:
        """The page is still there; perhaps somebody typed or read in it."""
        if "used" in request.query_params:
            self.clock.use()
        self.clock.hear()
        return Response(status_code=204)

    def close(self, request: Request) -> Response:
        """End: the copies go, and the checks with them."""
        self.clock.end()
        return Response(status_code=204)

    async def save_workbook(self, request: Request) -> Response:
        """The empty workbook of a site."""
        self.clock.use()
        site = (await read_words(request, "site")).strip().upper()
        if not SITE.fullmatch(site):
            return self.voice.refuse("site")
        content = await run_in_threadpool(make_workbook, self.maneuvers, site)
        return hand_out(content, f"{site}.xlsx", WORKBOOK)

    async def save_withdrawn(self, request: Request) -> Response:
        """The list of those who withdrew."""
        self.clock.use()
        text = await read_words(request, "pseudonyms")
        try:
            content = await run_in_threadpool(make_withdrawn, text, self.place)
        except NobodyWithdrew:
            return self.voice.refuse("nobody")
        except NotSaved as fault:
            return PlainTextResponse(str(fault), 422)
        return hand_out(content, WITHDRAWN, "text/csv")

    def open_job(self, request: Request) -> Response:
        """A new check, to which files are then brought."""
        self.clock.use()
        return JSONResponse({"check": self.keep_job(Job(self.place))})

    async def take_file(self, request: Request) -> Response:
        """One file of a delivery, or of the delivery before it."""
        self.clock.use()
        job = self.find_job(request)
        if job.stage != WAITING:
            return self.voice.refuse("gone", 409)
        query = request.query_params
        target = job.name_file(query.get("name", ""), earlier=query.get("of") == "earlier")
        try:
            whole = await keep(request, target)
        except ClientDisconnect:  # the page was left meanwhile
            whole = False
        if not whole:
            target.unlink()
            return self.voice.refuse("large", 413)
        return Response(status_code=204)

    def begin_job(self, request: Request) -> Response:
        """The files are there."""
        self.clock.use()
        self.find_job(request).begin(self.plan)
        return Response(status_code=204)

    async def add_rows(self, request: Request) -> Response:
        """The workbook is there: the rows of an episode are added to it."""
        self.clock.use()
        job = self.find_job(request)
        await run_in_threadpool(job.begin, self.plan, await read_rows(request))
        return Response(status_code=204)

    def tell_entered(self, request: Request) -> Response:
        """What the check says of rows that were added."""
        self.clock.use()
        job = self.find_job(request)
        if (entered := job.entered) is None:
            return (
                self.voice.refuse("fault", 500)
                if job.stage == FAILED
                else self.voice.refuse("gone", 404)
            )
        return self.voice.refuse(entered["fault"]) if "fault" in entered else JSONResponse(entered)

    def save_book(self, request: Request) -> Response:
        """The workbook with the rows that were added."""
        self.clock.use()
        job = self.find_job(request)
        if job.book is None or job.entered is None:
            return self.voice.refuse("gone", 404)
        return hand_out(job.book, job.entered["name"], WORKBOOK)

    def stop_job(self, request: Request) -> Response:
        """The person does not want to wait."""
        self.clock.use()
        self.find_job(request).stop()
        return Response(status_code=204)

    def tell_news(self, request: Request) -> Response:
        """How far a check is."""
        job = self.find_job(request)
        if job.stage == RUNNING:
            self.clock.use()
        marked = job.marked is not None
        return JSONResponse({"stage": job.stage, "says": job.says, "marked": marked})

    def show_job(self, request: Request) -> Response:
        """A check: what is being done, or what came of it."""
        self.clock.use()
        job = self.find_job(request)
        return self.voice.show(
            "desk_check.html.j2",
            {
                "here": f"/checks/{request.path_params['job']}",
                "stage": job.stage,
                "says": job.says,
                "verdict": job.verdict,
                "marked": job.marked is not None,
                "asked": bool(job.words),
                "listed": job.site_map is not None,
            },
        )

    def save_marked(self, request: Request) -> Response:
        """The marked copy."""
        self.clock.use()
        job = self.find_job(request)
        if job.marked is None or job.verdict is None:
            return self.voice.refuse("gone", 404)
        name = f"{job.verdict['site']}_{job.verdict['delivery']}_marked.xlsx"
        return hand_out(job.marked, "marked.xlsx" if job.verdict["untold"] else name, WORKBOOK)

    def save_delivery(self, request: Request) -> Response:
        """The delivery, named as it must be."""
        self.clock.use()
        job = self.find_job(request)
        if job.verdict is None or not job.verdict["savable"]:
            return self.voice.refuse("gone", 404)
        site, delivery = job.verdict["site"], job.verdict["delivery"]
        packed = pack_delivery(site, delivery, job.verdict["form"], job.files)
        return hand_out(packed, f"{site}_{delivery}.zip", "application/zip")

    def show_words(self, request: Request) -> Response:
        """The words of a site that the dictionary does not know, to be answered."""
        self.clock.use()
        job = self.find_job(request)
        if not job.words:
            return self.voice.refuse("gone", 404)
        groups = describe_words(job.words, self.dictionary)
        here = f"/checks/{request.path_params['job']}"
        return self.voice.show("desk_words.html.j2", {"here": here, "groups": groups})

    async def take_words(self, request: Request) -> Response:
        """What they stand for: the check is done again with them."""
        self.clock.use()
        job = self.find_job(request)
        form = await read_form(request)
        if job.verdict is None or not job.words:
            return self.voice.refuse("gone", 404)
        site = job.verdict["site"]
        known = job.site_map or self.sites.get(site, SiteMap())
        try:
            answers = read_answers(form, job.words, self.dictionary)
            again = job.repeat(site, add_meanings(known, job.words, *answers))
        except NotMeant as fault:
            return self.voice.refuse(str(fault))
        name = self.keep_job(again)
        await run_in_threadpool(again.begin, self.plan)
        return JSONResponse({"check": name})

    def save_list(self, request: Request) -> Response:
        """The list of a site's words, as the plan holds it."""
        self.clock.use()
        job = self.find_job(request)
        if job.site_map is None or job.verdict is None:
            return self.voice.refuse("gone", 404)
        site = job.verdict["site"]
        comment = WORDS["own"]["comment"].format(site=site)
        content = f"# {comment}\n{write_site_map(job.site_map)}".encode()
        return hand_out(content, f"{site}.yaml", "application/yaml")

    def keep_job(self, job: Job) -> str:
        """The name under which a check is kept; the oldest gives way, and one that is running, or
        whose verdict somebody may still read, only if there is no other."""
        if len(self.jobs) >= MOST_JOBS:
            least = min(self.jobs, key=lambda name: self.jobs[name].rank())  # the oldest of equals
            self.jobs.pop(least).stop()
        name = secrets.token_urlsafe(12)
        self.jobs[name] = job
        return name

    def find_job(self, request: Request) -> Job:
        """The check that a request is about."""
        job = self.jobs.get(request.path_params["job"])
        if job is None:
            raise HTTPException(404)
        return job

    def stop_all(self) -> None:
        """Stop every check."""
        for job in self.jobs.values():
            job.stop()

    def tell_of_fault(self, request: Request, fault: Exception) -> Response:
        """A fault of the program: its place at the terminal, and a sentence for the page."""
        tell_fault(fault)
        return self.voice.refuse("fault", 500)
