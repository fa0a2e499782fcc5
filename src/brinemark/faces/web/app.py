"""The application: routes, templates, and the one way from a request to an answer."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from brinemark.faces.web import filters, numbers
from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.guard import COOKIE, SAFE, TOKEN, Guard, is_ours, token_for, visitor_of
from brinemark.faces.web.visit import Faulty, Upload, Visit
from brinemark.terms.errors import BrinemarkError, Refused
from brinemark.terms.findings import Finding

HERE = Path(__file__).parent
MOST_FILES, MOST_FIELDS, MOST_PART = 10_010, 50_000, 4 * 2**20
STYLE_COOKIE, YEAR_S = "brinemark_decimal", 31_536_000
JSON = "application/json"

See: TypeAlias = Callable[[Visit], Answer]


@dataclass(frozen=True, slots=True)
class Place:
    """An address and the functions that answer for it. A refusal of post is shown by get, with what was filled in."""

    address: str
    get: See | None = None
    post: See | None = None


@dataclass(frozen=True, slots=True)
class Tab:
    """One entry of the list of pages."""

    address: str
    name: str


TABS = (
    Tab("/next", "Next"),
    Tab("/batches", "Batches"),
    Tab("/runs", "Runs"),
    Tab("/curves", "Curves"),
    Tab("/calibration", "Calibration"),
    Tab("/samples", "Samples"),
    Tab("/consignments", "Consignments"),
    Tab("/trials", "Trials"),
    Tab("/reports", "Reports"),
    Tab("/settings", "Settings"),
    Tab("/audit", "Audit"),
)


# Pages below a tab whose addresses do not begin with the tab's.
BELOW = {
    "/batch-making": "/batches",
    "/labels": "/batches",
    "/electrodes": "/batches",
    "/lay-out": "/runs",
    "/plans": "/runs",
    "/take-in": "/runs",
    "/run-controls": "/runs",
    "/new-consignment": "/consignments",
    "/happening": "/consignments",
    "/tank-records": "/consignments",
    "/survey": "/consignments",
    "/holds": "/consignments",
    "/worlds": "/consignments",
    "/other-methods": "/consignments",
    "/records": "/audit",
}


def tab_of(address: str) -> str:
    """The tab that an address belongs to, "" for none."""
    first = "/" + address.split("/")[1]
    return BELOW.get(first, first)


class Pages:
    """The pages of one desk."""

    def __init__(self, desk: Desk, addresses: Sequence[str]) -> None:
        self.desk = desk
        self.tabs = tuple(tab for tab in TABS if tab.address in addresses)
        self.templates = Environment(
            loader=PackageLoader("brinemark.faces.web"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.filters.update(filters.FILTERS)

    def route(self, place: Place) -> Route:
        methods = [*(("GET",) if place.get else ()), *(("POST",) if place.post else ())]

        async def answer(request: Request) -> Response:
            try:
                return await self.answer(request, place)
            except ClientDisconnect:  # the browser went away in the middle of a form; nobody waits for this
                return Response(status_code=400)

        return Route(place.address, answer, methods=methods)

    async def answer(self, request: Request, place: Place) -> Response:
        """Look at the request, work in a thread of its own, and show what came of it."""
        if request.method in SAFE:
            visit = _visit(self.desk, request)
            return await run_in_threadpool(self._got, request, visit, place)
        async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=MOST_PART) as form:
            if not is_ours(self.desk.secret, request, form.get(TOKEN) or request.headers.get("x-form-token")):
                text = "this form is from an earlier start of the pages, or from elsewhere; load its page again"
                return self.fault(request, 403, text)
            visit = _visit(self.desk, request, form)
            # Files of the form are closed at the end of this block.
            return await run_in_threadpool(self._posted, request, visit, place)

    def _got(self, request: Request, visit: Visit, place: Place) -> Response:
        if place.get is None:
            raise HTTPException(405)
        try:
            return self.show(request, visit, place.get(visit))
        except BrinemarkError as refusal:
            return self.fault(request, 404 if isinstance(refusal, Refused) else 500, str(refusal))

    def _posted(self, request: Request, visit: Visit, place: Place) -> Response:
        if place.post is None:
            raise HTTPException(405)
        try:
            return self.show(request, visit, place.post(visit))
        except BrinemarkError as refusal:
            if place.get is None or visit.wants_json:
                return self.fault(request, 422, str(refusal), _findings(refusal))
            return self._refused(request, visit, place.get, refusal)

    def _refused(self, request: Request, visit: Visit, get: See, refusal: BrinemarkError) -> Response:
        """The page of a form that was not accepted, with what was filled in; where there is none, why."""
        try:
            answer = get(visit)
        except BrinemarkError as missing:
            return self.fault(request, 404, str(missing))
        return self.show(request, visit, answer, refusal)

    def show(self, request: Request, visit: Visit, answer: Answer, refusal: BrinemarkError | None = None) -> Response:
        """An answer as what the browser, or the program, asked for; above it, why a form was not accepted."""
        if isinstance(answer, GoTo):
            return self._gone(visit, answer)
        if isinstance(answer, File):
            return _file(answer)
        status = answer.status if refusal is None else 422
        if visit.wants_json:
            return JSONResponse({"schema": 1, "title": answer.title, **answer.data}, status)
        more = {"refused": "" if refusal is None else str(refusal), "faults": _by_field(refusal)}
        return self._html(request, visit, answer, more, status)

    def fault(self, request: Request, status: int, text: str, findings: Sequence[Finding] = ()) -> Response:
        """The one page of all refusals and faults, or the same as JSON."""
        if _wants_json(request):
            more = {"findings": [one.to_dict() for one in findings]} if findings else {}
            return JSONResponse({"schema": 1, "status": status, "error": text, **more}, status)
        page = Page("fault.html", _fault_title(status), {"text": text, "status": status}, status)
        return self._html(request, _visit(self.desk, request), page, {"refused": "", "faults": {}}, status)

    def _html(self, request: Request, visit: Visit, page: Page, more: Mapping[str, Any], status: int) -> Response:
        visitor = visitor_of(request)
        entered = {name: list(values) for name, values in visit.given.items() if name != TOKEN}
        text = self.templates.get_template(page.template).render(
            page=page.data,
            title=page.title,
            visit=visit,
            tabs=self.tabs,
            here=tab_of(visit.address),
            token=token_for(self.desk.secret, visitor),
            style=visit.style,
            entered=entered,
            logbook=self._name(),
            said=self.desk.said(visit.ask("said")) if visit.ask("said") else "",
            **more,
        )
        response = HTMLResponse(text, status)
        response.headers["Vary"] = "Accept, Accept-Language"
        if request.cookies.get(COOKIE) != visitor:
            response.set_cookie(COOKIE, visitor, httponly=True, samesite="strict", path="/")
        return response

    def _name(self) -> str:
        try:
            return self.desk.book.settings.logbook.name
        except BrinemarkError:
            return self.desk.folder.name

    def _gone(self, visit: Visit, answer: GoTo) -> Response:
        if visit.wants_json:
            return JSONResponse({"schema": 1, "see": answer.address, "said": answer.said})
        address = answer.address
        if answer.said:
            join = "&" if "?" in address else "?"
            address, mark, place = address.partition("#")
            address = f"{address}{join}said={self.desk.say_once(answer.said)}{mark}{place}"
        response = RedirectResponse(address, 303)
        if answer.decimal in numbers.STYLES:
            response.set_cookie(STYLE_COOKIE, answer.decimal, httponly=True, samesite="strict", max_age=YEAR_S)
        elif answer.decimal == "":
            response.delete_cookie(STYLE_COOKIE)
        return response


def build_app(desk: Desk, hosts: Sequence[str], places: Sequence[Place]) -> Starlette:
    """The application of one desk, which answers under these host names (with port) only."""
    pages = Pages(desk, [place.address for place in places])

    async def refused(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 500
        return pages.fault(request, status, _fault_text(status, error))

    app = Starlette(
        routes=[
            *(pages.route(place) for place in places),
            Mount("/static", StaticFiles(directory=HERE / "static"), name="static"),
        ],
        middleware=[Middleware(Guard, hosts=frozenset(host.lower() for host in hosts))],
        exception_handlers={HTTPException: refused, 500: refused},
    )
    app.router.redirect_slashes = False
    return app


def _visit(desk: Desk, request: Request, form: FormData | None = None) -> Visit:
    given: dict[str, list[str]] = {}
    files = []
    for name, value in form.multi_items() if form is not None else ():
        if isinstance(value, str):
            given.setdefault(name, []).append(value)
        elif value.filename:
            files.append(Upload(name, value.filename, value.file))
    asked: dict[str, list[str]] = {}
    for name, value in request.query_params.multi_items():
        asked.setdefault(name, []).append(value)
    chosen = request.cookies.get(STYLE_COOKIE, "")
    chosen = chosen if chosen in numbers.STYLES else ""
    style = chosen or numbers.style_of(request.headers.get("accept-language", ""))
    return Visit(
        desk=desk,
        method=request.method,
        address=request.url.path,
        path=dict(request.path_params),
        asked=asked,
        given=given,
        files=tuple(files),
        style=style,
        chosen_style=chosen,
        wants_json=_wants_json(request),
        part=request.headers.get("hx-request") == "true",
    )


def _wants_json(request: Request) -> bool:
    """Whether JSON is named before HTML among what is accepted."""
    kinds = [kind.split(";")[0].strip() for kind in request.headers.get("accept", "").split(",")]
    return JSON in kinds and ("text/html" not in kinds or kinds.index(JSON) < kinds.index("text/html"))


def _findings(refusal: BrinemarkError | None) -> tuple[Finding, ...]:
    if isinstance(refusal, Faulty):
        return refusal.findings
    return (Finding.of(refusal),) if isinstance(refusal, Refused) else ()


def _by_field(refusal: BrinemarkError | None) -> dict[str, list[str]]:
    """What is wrong with each field of a form."""
    found: dict[str, list[str]] = {}
    for one in _findings(refusal):
        found.setdefault(one.column or "", []).append(f"{one.came}; expected {one.expected}; {one.remedy}")
    return found


def _file(answer: File) -> Response:
    headers = {"Cache-Control": f"private, max-age={answer.kept_s}" if answer.kept_s else "no-store"}
    if answer.name is not None:
        plain = re.sub(r"[^A-Za-z0-9._-]", "_", answer.name) or "file"
        headers["Content-Disposition"] = (
            f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(answer.name, safe='')}"
        )
    return Response(answer.body, media_type=answer.media, headers=headers)


FAULTS = {
    400: "The form could not be read",
    403: "Not allowed",
    404: "Not here",
    405: "Not that way",
    413: "Too much at once",
    422: "Not accepted",
    500: "A fault of the program",
}


def _fault_title(status: int) -> str:
    return FAULTS.get(status, FAULTS[400 if status < 500 else 500])


def _fault_text(status: int, error: Exception) -> str:
    if isinstance(error, HTTPException):
        if status == 404:
            return "there is no such page; choose one from the list above"
        return str(error.detail)
    return f"{type(error).__name__}; nothing was stored; please report what you did, with the time"
