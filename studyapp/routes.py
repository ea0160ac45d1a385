"""Plain HTTP beside the screens: the join link, every mark, signing in, papers and fonts.

Each route parses, calls one service away from the event loop, and answers JSON: `{"ok": true, ...}`, or
`{"ok": false, "sentence": ...}` with a status that tells a phone whether to try again. An answer that says ok has been
committed.
"""

from __future__ import annotations

import json
import logging
import re
import secrets
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import asdict
from functools import partial
from importlib.resources import files
from inspect import iscoroutinefunction
from typing import Any, cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from studyapp import connections, cookies, log, registry, words
from studyapp.assets import font, font_names, icon
from studyapp.errors import BadInput, Busy, NotAllowed, NotFound, OutOfDate, StoreProblem, StudyError, TooManyTries
from studyapp.records import Mark, Role
from studyapp.services import accounts, calling, first_code, joining, photos, planning, refining, tasting, trying
from studyapp.services.devices import Device
from studyapp.store import Store, clock
from studyapp.waiting import Desk, Line
from studyapp.words import _

LOGGER = logging.getLogger("studyapp.routes")
LARGEST_BODY = 8192
_NO_TEXT = re.compile("[\x00\ud800-\udfff]")  # what no database and no hash takes; JSON can name it all the same
STATUS: Mapping[type[StudyError], int] = {
    BadInput: 400,
    NotAllowed: 403,
    NotFound: 404,
    OutOfDate: 409,
    TooManyTries: 429,
    Busy: 503,
    StoreProblem: 503,
}
Opened = Callable[[], Store]
Answer = Callable[[Request], Awaitable[Response]]


def routes(store: Opened, *, demo: bool = False, address: Callable[[], str] = str) -> list[Route]:
    """All routes; `store` gives the open store when a request comes, `address` where phones reach this server, empty
    for the address that the request itself came to."""
    desk = Line(at_work=1, patient=8, of_one=3)  # a passphrase takes 128 MiB and half a second of a core
    posts: dict[str, Callable[[Opened], Answer]] = {
        "/mark": _mark,
        "/choice": _choice,
        "/piece": _piece,
        "/cannot": _cannot,
        "/finish": _finish,
        "/agree": _door(tasting.agree),
        "/sit-out": _door(tasting.sit_out),
        "/leave": _leave,
        "/note": _note,
        "/call": _call,
        "/taken": _taken,
        "/sign-in": _in_line(desk, _sign_in),
        "/sign-out": _sign_out,
        "/first-leader": _in_line(desk, _first_leader),
        "/passphrase": _in_line(desk, _passphrase),
        "/staff": _in_line(desk, _new_staff),
        "/staff/passphrase": _in_line(desk, _staff_passphrase),
    }
    gets: dict[str, Callable[[Opened], Answer]] = {
        "/join/{code}": _in_line(Line(at_work=2, patient=30), _join),
        "/place": _place,
        "/here": _here,
        "/health": _health,
        "/print/{paper}/{of}": partial(_print, address=address),
        "/calendar/{study}": _calendar,
        "/photo/{photo}": _photo,
    }
    if demo:
        gets["/demo/{role}"] = _demo
    listed = [Route(path, _guarded(make(store)), methods=["POST"]) for path, make in posts.items()]
    listed += [Route(path, _guarded(make(store)), methods=["GET"]) for path, make in gets.items()]
    return [*listed, Route("/studies", _home), Route("/font/{name}", _font), *_DOOR]


class Shortcut:
    """The way to our own addresses without parameters, past all that Streamlit would do with a request first: what a
    phone asks for takes a tenth less so."""

    def __init__(self, app: ASGIApp, routes: Sequence[Route]) -> None:
        """`routes` stay routes of the app, which answers for every other method."""
        self.app = app
        plain = [route for route in routes if "{" not in route.path and iscoroutinefunction(route.endpoint)]
        self.ways = {(route.path, method): route for route in plain for method in route.methods or ()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        way = self.ways.get((scope["path"], scope["method"])) if scope["type"] == "http" else None
        if way is None:
            await self.app(scope, receive, send)
            return
        scope = {**scope, "route": way, "path_params": {}}
        response = await way.endpoint(Request(scope, receive, send))
        await response(scope, receive, send)


# ---- the edge --------------------------------------------------------------------------------------------------------
def _guarded(answer: Answer) -> Answer:
    """A refusal becomes its sentence; anything unexpected becomes a code, and the log has where it happened. What
    refines in the background gives way to whatever is saved."""

    async def guarded(request: Request) -> Response:
        words.speak(words.nearest(request.headers.get("accept-language", "")))
        if request.method == "POST":
            refining.give_way()
        try:
            return await answer(request)
        except StudyError as refused:
            status = next((code for kind, code in STATUS.items() if isinstance(refused, kind)), 400)
            _note_refusal(request, status, type(refused).__name__)
            return _said(request, str(refused), status, _again_in(refused))
        except ClientDisconnect:
            return Response(status_code=400)  # nobody is left to read it
        except Exception as failure:
            code = secrets.token_hex(2).upper()
            LOGGER.error("route failed", extra={"code": code, "route": _route(request), "where": log.frames(failure)})
            return _said(request, log.ours(code), 500)

    return guarded


def _again_in(refused: StudyError) -> int | None:
    """Seconds after which the same request may be heard."""
    if isinstance(refused, Busy):
        return refused.seconds
    return 60 if isinstance(refused, TooManyTries) else None


def _said(request: Request, sentence: str, status: int, again_in: int | None = None) -> Response:
    """The sentence as JSON, or as a small page where a person followed a link; after `again_in` seconds that page tries
    by itself."""
    headers = {} if again_in is None else {"Retry-After": str(again_in)}
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        return HTMLResponse(_plain_page(sentence, again_in if status == 503 else None), status, headers)
    return JSONResponse({"ok": False, "sentence": sentence}, status, headers)


def _in_line(line: Line, make: Callable[[Opened], Answer]) -> Callable[[Opened], Answer]:
    """The same route, for those whose turn it is."""

    def of(store: Opened) -> Answer:
        answer = make(store)

        async def in_turn(request: Request) -> Response:
            async with line.turn(_address(request)):
                return await answer(request)

        return in_turn

    return of


def _plain_page(sentence: str, again_in: int | None) -> str:
    from html import escape

    page = files("studyapp.components").joinpath("refused.html").read_text(encoding="utf-8")
    if again_in is not None:
        page = page.replace("<title>", f'<meta http-equiv="refresh" content="{again_in}">\n<title>')
    filled = {"title": _("Tasting"), "language": words.language(), "sentence": sentence}
    for name, text in filled.items():
        page = page.replace(f"{{{name}}}", escape(text))
    return page


def _route(request: Request) -> str:
    """The route's pattern, never the address itself: that may hold a code."""
    return str(getattr(request.scope.get("route"), "path", ""))


def _note_refusal(request: Request, status: int, kind: str) -> None:
    LOGGER.warning("refused", extra={"route": _route(request), "status": status, "kind": kind})


async def _body(request: Request) -> dict[str, Any]:
    """The JSON object of a request, small and declared as such; another page's form cannot send that."""
    if request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
        raise BadInput(_("Not done: the request is not JSON. Open your link again."))
    raw = b""
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > LARGEST_BODY:
            raise BadInput(_("Not done: the text is too long. Shorten it."))
    try:
        found = json.loads(raw, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise BadInput(_("Not done: the request cannot be read. Open your link again.")) from None
    if not isinstance(found, dict):
        raise BadInput(_("Not done: the request cannot be read. Open your link again."))
    return found


def _no_constant(name: str) -> float:
    raise ValueError(name)


def _text(body: Mapping[str, Any], name: str, longest: int = 200) -> str:
    value = body.get(name)
    if not isinstance(value, str) or len(value) > longest or _NO_TEXT.search(value):
        raise BadInput(_("Not done: {name} is missing or too long. Open your link again.").format(name=name))
    return value


def _number(body: Mapping[str, Any], name: str) -> float:
    value = body.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
        raise BadInput(_("Not done: {name} is not a number. Mark the line again.").format(name=name))
    return float(value)


def _token(request: Request, kind: cookies.Kind) -> str | None:
    return cookies.token(request.cookies, kind, secure=request.url.scheme == "https")


def _hold(request: Request, response: Response, kind: cookies.Kind, token: str) -> None:
    """Give this browser a token that its scripts cannot read."""
    secure = request.url.scheme == "https"
    response.set_cookie(
        cookies.name(kind, secure=secure),
        token,
        max_age=cookies.DAYS_90,
        path="/",
        secure=secure,
        httponly=True,
        samesite="lax",
    )


def _drop(request: Request, response: Response, kind: cookies.Kind) -> None:
    secure = request.url.scheme == "https"
    response.delete_cookie(cookies.name(kind, secure=secure), path="/", secure=secure, httponly=True, samesite="lax")


def _address(request: Request) -> str:
    return connections.network(request.client.host) if request.client else ""


# ---- the assessor ----------------------------------------------------------------------------------------------------
def _join(store: Opened) -> Answer:
    async def join(request: Request) -> Response:
        code = request.path_params["code"]
        mark = _token(request, "device") or secrets.token_urlsafe(16)
        device = Device(mark[:64], request.headers.get("user-agent", "")[:400])
        held = _token(request, "staff"), device, _token(request, "seat")
        token = await run_in_threadpool(joining.join, store(), code, _address(request), *held)
        response = RedirectResponse("/", 303)
        _hold(request, response, "device", mark)
        _hold(request, response, "seat", token)
        _drop(request, response, "staff")
        LOGGER.info("joined", extra={"route": _route(request)})
        return response

    return join


def _place(store: Opened) -> Answer:
    async def place(request: Request) -> Response:
        found = await run_in_threadpool(tasting.place, store(), _token(request, "seat"))
        return JSONResponse({"ok": True, "place": asdict(found)})

    return place


def _here(store: Opened) -> Answer:
    """What every open page asks all the time; it offers nothing and draws nothing."""

    async def here(request: Request) -> Response:
        kind, at = await run_in_threadpool(tasting.here, store(), _token(request, "seat"))
        return JSONResponse({"ok": True, "kind": kind, "at": at})

    return here


def _mark(store: Opened) -> Answer:
    desk = Desk()

    async def mark(request: Request) -> Response:
        body = await _body(request)
        sent = Mark(_text(body, "serving"), _text(body, "line"), _number(body, "value"), _text(body, "nonce"))
        kept = await desk.keep(store(), tasting.marking(_token(request, "seat"), sent))
        return JSONResponse({"ok": True, "at": kept.at, "again": kept.again})

    return mark


def _choice(store: Opened) -> Answer:
    async def choice(request: Request) -> Response:
        body = await _body(request)
        set_id, nonce = _text(body, "set"), _text(body, "nonce")
        picked: Any = body.get("picked")
        guess: Any = body.get("guess")
        token = _token(request, "seat")
        kept = await run_in_threadpool(trying.keep_choice, store(), token, set_id, picked, guess, nonce)
        return JSONResponse({"ok": True, "at": kept.at, "again": kept.again})

    return choice


def _piece(store: Opened) -> Answer:
    async def piece(request: Request) -> Response:
        body = await _body(request)
        step: Any = body.get("step")
        taken = _text(body, "set"), step, _number(body, "ago")
        kept = await run_in_threadpool(trying.take_step, store(), _token(request, "seat"), *taken)
        return JSONResponse({"ok": True, "at": kept.at, "again": kept.again})

    return piece


def _cannot(store: Opened) -> Answer:
    async def cannot(request: Request) -> Response:
        body = await _body(request)
        serving, reason, nonce = _text(body, "serving"), _text(body, "reason", 500), _text(body, "nonce")
        kept = await run_in_threadpool(tasting.cannot_judge, store(), _token(request, "seat"), serving, reason, nonce)
        return JSONResponse({"ok": True, "at": kept.at, "again": kept.again})

    return cannot


def _finish(store: Opened) -> Answer:
    async def finish(request: Request) -> Response:
        serving = _text(await _body(request), "serving")
        found = await run_in_threadpool(tasting.finish_serving, store(), _token(request, "seat"), serving)
        return JSONResponse({"ok": True, "kind": found.kind})

    return finish


def _door(act: Callable[[Store, str | None], object]) -> Callable[[Opened], Answer]:
    """A step at the door, which needs nothing but the seat."""

    def of(store: Opened) -> Answer:
        async def step(request: Request) -> Response:
            await _body(request)
            await run_in_threadpool(act, store(), _token(request, "seat"))
            return JSONResponse({"ok": True})

        return step

    return of


def _leave(store: Opened) -> Answer:
    async def leave(request: Request) -> Response:
        keep = (await _body(request)).get("keep")
        if not isinstance(keep, bool):
            raise BadInput(_("Not done: say whether your marks stay. Choose Keep or Take out."))
        await run_in_threadpool(tasting.leave, store(), _token(request, "seat"), keep)
        return JSONResponse({"ok": True})

    return leave


def _note(store: Opened) -> Answer:
    async def note(request: Request) -> Response:
        text = _text(await _body(request), "text", 2000)
        await run_in_threadpool(tasting.send_note, store(), _token(request, "seat"), text)
        return JSONResponse({"ok": True})

    return note


def _call(store: Opened) -> Answer:
    async def call(request: Request) -> Response:
        body = await _body(request)
        told = _text(body, "serving"), _text(body, "what"), _text(body, "code")
        spare = await run_in_threadpool(calling.call, store(), _token(request, "seat"), *told)
        return JSONResponse({"ok": True, "spare": spare})

    return call


# ---- at the conche ---------------------------------------------------------------------------------------------------
def _taken(store: Opened) -> Answer:
    """A sample that was taken and noted on a phone, which sends it until it is told that it is kept."""

    async def taken(request: Request) -> Response:
        body = await _body(request)
        study, token = _text(body, "study"), _token(request, "staff")
        told = body | {name: _text(body, name, 400) for name in ("at", "words", "nonce")}

        def keep() -> None:
            staff = accounts.staff_of(store(), token)
            if staff is None:  # no refusal: what is noted waits until somebody signs in
                raise Busy(_("You are signed out. What you noted waits on this phone: sign in again."), 5)
            kind = planning.study(store(), staff, study).kind
            registry.setting_out(kind).note_taken(store(), staff, study, told)

        await run_in_threadpool(keep)
        return JSONResponse({"ok": True, "at": clock.now().isoformat()})

    return taken


def _photo(store: Opened) -> Answer:
    """A photo, for those who may see it; its bytes were checked to be of the kind they are sent as."""

    async def photo(request: Request) -> Response:
        def found() -> tuple[str, bytes]:
            staff = accounts.staff_of(store(), _token(request, "staff"))
            if staff is None:
                raise NotAllowed(_("Not done: sign in first."))
            return photos.content(store(), staff, request.path_params["photo"])

        kind, content = await run_in_threadpool(found)
        return Response(content, media_type=kind)

    return photo


# ---- staff -----------------------------------------------------------------------------------------------------------
def _sign_in(store: Opened) -> Answer:
    async def sign_in(request: Request) -> Response:
        body = await _body(request)
        name, passphrase = _text(body, "name"), _text(body, "passphrase", 1000)
        address, known = _address(request), _token(request, "known")
        token = await run_in_threadpool(accounts.sign_in, store(), name, passphrase, address, known)
        return _as_staff(request, token)

    return sign_in


def _first_leader(store: Opened) -> Answer:
    async def first_leader(request: Request) -> Response:
        body = await _body(request)
        name, passphrase, code = _text(body, "name"), _text(body, "passphrase", 1000), _text(body, "code")

        def make_and_enter() -> str:
            first_code.begin(store(), code, name, passphrase, _address(request))
            return accounts.sign_in(store(), name, passphrase, _address(request))

        return _as_staff(request, await run_in_threadpool(make_and_enter))

    return first_leader


def _passphrase(store: Opened) -> Answer:
    async def passphrase(request: Request) -> Response:
        body = await _body(request)
        old, new = _text(body, "old", 1000), _text(body, "new", 1000)
        token = _token(request, "staff")
        fresh = await run_in_threadpool(accounts.change_passphrase, store(), token, old, new, _address(request))
        return _as_staff(request, fresh)

    return passphrase


def _new_staff(store: Opened) -> Answer:
    async def new_staff(request: Request) -> Response:
        body = await _body(request)
        name, role, passphrase = _text(body, "name"), _text(body, "role"), _text(body, "passphrase", 1000)
        tastes, token = _text(body, "tastes"), _token(request, "staff")

        def add() -> None:
            by = accounts.staff_of(store(), token)
            accounts.add_staff(store(), by, name, cast(Role, role), passphrase, tastes)

        await run_in_threadpool(add)
        return JSONResponse({"ok": True})

    return new_staff


def _staff_passphrase(store: Opened) -> Answer:
    async def staff_passphrase(request: Request) -> Response:
        body = await _body(request)
        staff, passphrase, token = _text(body, "staff"), _text(body, "passphrase", 1000), _token(request, "staff")

        def give() -> None:
            accounts.give_passphrase(store(), accounts.staff_of(store(), token), staff, passphrase)

        await run_in_threadpool(give)
        return JSONResponse({"ok": True})

    return staff_passphrase


def _as_staff(request: Request, token: str) -> Response:
    """Signed in: this browser gives up a seat it held, for one browser is one person at one job."""
    response = JSONResponse({"ok": True})
    _hold(request, response, "staff", token)
    _hold(request, response, "known", token)
    _drop(request, response, "seat")
    LOGGER.info("signed in", extra={"route": _route(request)})
    return response


def _sign_out(store: Opened) -> Answer:
    async def sign_out(request: Request) -> Response:
        await _body(request)
        token = _token(request, "staff")
        if token is not None:
            await run_in_threadpool(accounts.sign_out, store(), token)
        response = JSONResponse({"ok": True})
        _drop(request, response, "staff")
        _drop(request, response, "seat")
        return response

    return sign_out


def _demo(store: Opened) -> Answer:
    async def enter(request: Request) -> Response:
        role = request.path_params["role"]
        kind: cookies.Kind = "seat" if role == "assessor" or role in registry.KINDS else "staff"
        if kind == "seat":
            of = role if role in registry.KINDS else next(iter(registry.KINDS))
            token = await run_in_threadpool(joining.demo_seat, store(), of)
        else:
            token = await run_in_threadpool(accounts.enter_demo, store(), role)
        tasted = None
        if "watch" in request.query_params:  # from a seat straight to the room it stands in
            tasted = await run_in_threadpool(joining.seat_of, store(), _token(request, "seat"))
        response = RedirectResponse(f"/watch?sitting={tasted.sitting}" if tasted else "/", 303)
        _hold(request, response, kind, token)
        _drop(request, response, "staff" if kind == "seat" else "seat")
        return response

    return enter


# ---- papers, fonts, health -------------------------------------------------------------------------------------------
def _print(store: Opened, address: Callable[[], str]) -> Answer:
    async def paper(request: Request) -> Response:
        from studyapp.printing import papers

        kind, of = request.path_params["paper"], request.path_params["of"]

        def made() -> tuple[str, bytes]:
            staff = accounts.staff_of(store(), _token(request, "staff"))
            if staff is None:
                raise NotAllowed(_("Not done: you are signed out. Sign in, then print again."))
            return papers.paper(store(), staff, kind, of, address() or str(request.base_url).rstrip("/"))

        name, pdf = await run_in_threadpool(made)
        LOGGER.info("printed", extra={"route": _route(request), "kind": kind})
        return Response(
            pdf, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
        )

    return paper


def _calendar(store: Opened) -> Answer:
    """Pulls, tempering and sittings of a study as a file for a calendar; it tells doses, so no assessor gets it."""

    async def calendar(request: Request) -> Response:
        def made() -> bytes:
            staff = accounts.staff_of(store(), _token(request, "staff"))
            if staff is None:
                raise NotAllowed(_("Not done: you are signed out. Sign in, then take the calendar again."))
            study = planning.study(store(), staff, request.path_params["study"])
            return registry.report(study.kind).calendar(store(), staff, study)

        file = await run_in_threadpool(made)
        LOGGER.info("calendar made", extra={"route": _route(request)})
        headers = {"Content-Disposition": 'attachment; filename="calendar.ics"'}
        return Response(file, media_type="text/calendar", headers=headers)

    return calendar


def _health(store: Opened) -> Answer:
    async def health(_request: Request) -> Response:
        store()
        return JSONResponse({"ok": True})

    return health


async def _font(request: Request) -> Response:
    """A font file; the address never changes its content, so a phone may keep it."""
    name = request.path_params["name"]
    if name not in font_names() or not name.endswith(".woff2"):
        return JSONResponse({"ok": False}, 404)
    headers = {"Cache-Control": "public, max-age=31536000, immutable"}
    return Response(font(name), media_type="font/woff2", headers=headers)


async def _home(_request: Request) -> Response:
    """The list of studies lives at the root; whoever types its name, as the other pages have theirs, is led there."""
    return RedirectResponse("/", 303)


async def _icon(_request: Request) -> Response:
    return Response(icon(), media_type="image/png")


async def _sign_in_page(_request: Request) -> Response:
    from studyapp.components import door

    return HTMLResponse(door.page())


async def _door_script(request: Request) -> Response:
    from studyapp.components import door

    script = door.scripts().get(request.path_params["name"])
    return Response(script or "", 404 if script is None else 200, media_type="text/javascript")


_DOOR = (
    Route("/favicon.png", _icon),
    Route("/door", _guarded(_sign_in_page), methods=["GET"]),
    Route("/door/{name}", _door_script),
)
