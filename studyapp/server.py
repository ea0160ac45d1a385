"""The server: Streamlit's app with our routes, our guards and our look, started from any folder."""

from __future__ import annotations

import gc
import logging
import os
import signal
import socket
import sys
import tempfile
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, NoReturn
from urllib.parse import urlsplit

import segno
import streamlit as st
from starlette.middleware import Middleware
from streamlit import config

from studyapp import connections, guard, log, routes, session, smaller
from studyapp.assets import FAMILY
from studyapp.components import look
from studyapp.errors import BadInput
from studyapp.pictures.theme import SCREENS
from studyapp.services import first_code, refining
from studyapp.settings import default_folder, settings
from studyapp.store import Store, open_store
from studyapp.words import _

HERE = Path(__file__).parent
LOGGER = logging.getLogger("studyapp.server")
# Objects made until unreachable ones are looked for, and rounds between the deeper looks: hundreds of requests at one
# moment make thousands that live for its length, and each look walks them all.
COLLECT = (20_000, 20, 20)
ANY_ADDRESS = ("0.0.0.0", "::")
# Characters of the two subsets of the font, as their makers cut them.
FONT_RANGES = {
    "hanken-latin.woff2": "U+0000-00FF, U+0131, U+0152-0153, U+02BB-02BC, U+02C6, U+02DA, U+02DC, U+0304, U+0308,"
    " U+0329, U+2000-206F, U+20AC, U+2122, U+2191, U+2193, U+2212, U+2215, U+FEFF, U+FFFD",
    "hanken-latin-ext.woff2": "U+0100-02BA, U+02BD-02C5, U+02C7-02CC, U+02CE-02D7, U+02DD-02FF, U+0304, U+0308, U+0329,"
    " U+1D00-1DBF, U+1E00-1E9F, U+1EF2-1EFF, U+2020, U+20A0-20AB, U+20AD-20C0, U+2113, U+2C60-2C7F, U+A720-A7FF",
}


@dataclass(frozen=True, slots=True)
class Listening:
    """Where the server listens; `log_file` None means stderr."""

    host: str
    port: int
    demo: bool
    log_file: Path | None


def serve(store_url: str | None, host: str, port: int, demo: bool) -> None:
    """Serve until Ctrl-C or a request to end; returns then, with everything kept.

    Raises:
        StudyError: the store cannot be opened, or the port is taken.
    """
    _refuse_taken_port(host, port)
    connections.guard()
    with _place_for_records(store_url, demo) as (url, log_file):
        store = open_store(url)
        try:
            if demo:
                _fill_demo(store)
            session.use(store, demo=demo)
            _run(Listening(host, port, demo, log_file))
        finally:
            session.use(None)
            refining.stop()
            store.close()


@contextmanager
def _place_for_records(store_url: str | None, demo: bool) -> Iterator[tuple[str, Path | None]]:
    """The store's address and the log's file; a demo keeps both in a folder that goes when it ends."""
    if demo and store_url is None:
        with tempfile.TemporaryDirectory(prefix="studyapp-demo-") as folder:
            yield f"sqlite:///{Path(folder) / 'demo.sqlite'}", _log_file(Path(folder))
        return
    default_folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    yield store_url or settings().store, _log_file(default_folder())


def _log_file(folder: Path) -> Path | None:
    wanted = settings().log_file
    return None if wanted == "-" else Path(wanted or folder / "log.jsonl")


def _fill_demo(store: Store) -> None:
    """Invented studies, entered without a passphrase: never into a store that somebody already uses."""
    import demo_panels
    from studyapp.services import accounts

    if not accounts.needs_first_leader(store):
        raise BadInput(_("Not done: --demo needs an empty store of its own. Leave --store out, or name a new file."))
    print(_("Setting up the invented workshop; a few seconds."), flush=True)
    os.environ["STUDYAPP_DEMO"] = "1"
    demo_panels.load(store)


def _refuse_taken_port(host: str, port: int) -> None:
    """Say that a port is taken before anything is opened."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, port))
        except OSError as error:
            sentence = _("Not done: {host} port {port} cannot be used. Give another with --port.")
            raise BadInput(sentence.format(host=host, port=port)) from error


# ---- running ---------------------------------------------------------------------------------------------------------
def _run(listening: Listening) -> None:
    """Run the app; a request to end is an ordinary end."""
    log.start(listening.log_file, settings().log_level)
    logging.getLogger("uvicorn.error").addFilter(lambda record: record.levelno >= logging.WARNING)
    # Streamlit would print a failure with its message, which may hold what people wrote; tell_failure logs its place.
    logging.getLogger("streamlit.error_util").addFilter(lambda record: False)
    previous = signal.signal(signal.SIGTERM, _end)
    try:
        _app(listening).run(config=_options(listening))
    except KeyboardInterrupt:
        pass
    except SystemExit as ended:
        if ended.code not in (0, None):
            raise
    finally:
        signal.signal(signal.SIGTERM, previous)
        LOGGER.info("stopped")


def _end(_signal: int, _frame: object) -> NoReturn:
    raise SystemExit(0)


def _app(listening: Listening) -> st.App:
    @asynccontextmanager
    async def lifespan(_app: st.App) -> AsyncIterator[dict[str, Any]]:
        log.start(listening.log_file, settings().log_level)
        port = int(config.get_option("server.port"))
        session.use(session.store(), demo=listening.demo, address=_phone_address(listening.host, port))
        _warm_up()
        _announce(listening, port)
        LOGGER.info("started", extra={"port": port})
        yield {}

    policy = guard.content_policy(guard.inline_scripts(_index_page()))
    ours = routes.routes(session.store, demo=listening.demo, address=session.address)
    return st.App(
        HERE / "app.py",
        routes=ours,
        middleware=[
            Middleware(guard.PrivateHeaders, policy=policy),
            Middleware(guard.OwnNames, names=_own_names()),
            Middleware(guard.SameOrigin),
            Middleware(guard.Sizes),
            Middleware(guard.Members, who=session.who),
            Middleware(smaller.Smaller),
            Middleware(routes.Shortcut, routes=ours),
        ],
        lifespan=lifespan,
        on_script_error=tell_failure,
    )


def _index_page() -> str:
    return (Path(st.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")


def _own_names() -> frozenset[str]:
    """Names this machine answers to, besides every bare address."""
    name = socket.gethostname().lower()
    told = urlsplit(settings().address).hostname or "localhost"
    return frozenset({"localhost", name, f"{name.split('.')[0]}.local", told, *settings().hosts})


def _warm_up() -> None:
    """Import what the first assessor needs, then take all of it out of the garbage collector's rounds."""
    from studyapp.screens import sign_in, taste  # noqa: F401

    session.store()
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT)


def tell_failure(failure: Exception) -> bool:
    """Show our sentence for anything a screen did not expect; the log has where it happened."""
    st.error(log.told(failure))
    return True


# ---- the address -----------------------------------------------------------------------------------------------------
def _phone_address(host: str, port: int) -> str:
    """Where phones reach this server."""
    if settings().address:
        return settings().address
    reached = _network_address() if host in ANY_ADDRESS else host
    return f"{_scheme()}://{f'[{reached}]' if ':' in reached else reached}:{port}"


def _scheme() -> str:
    return "https" if config.get_option("server.sslCertFile") else "http"


def _network_address() -> str:
    """This machine's address on the network; choosing a route sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 1))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _announce(listening: Listening, port: int) -> None:
    """Print where to go, and a code to scan for phones."""
    address = session.address()
    here = f"{_scheme()}://localhost:{port}"
    print(_("This machine: {address}").format(address=here if listening.host in ANY_ADDRESS else address))
    if listening.host in ANY_ADDRESS:
        print(_("Phones on this network: {address}").format(address=address))
        if sys.stdout.isatty():
            segno.make(address).terminal(compact=True)
    if _scheme() == "http" and not address.startswith(("http://127.", "http://localhost")):
        print(_("Careful: without a certificate, others on this network could read along. Use a network of your own."))
    code = first_code.make(session.store())
    if code is not None:
        told = _("Nobody runs studies here yet. The first panel leader types this code: {code}")
        print(told.format(code=code))
    print(_("Stop with Ctrl-C; everything kept stays kept."), flush=True)


# ---- options ---------------------------------------------------------------------------------------------------------
def _options(listening: Listening) -> dict[str, Any]:
    """Everything Streamlit is told; nothing is left to a configuration file in the folder the command runs in."""
    return {
        "server.address": listening.host,
        "server.port": listening.port,
        "server.headless": True,
        "server.fileWatcherType": "none",
        "server.enableStaticServing": False,
        # A page of a phone that went away is kept as long as a rest takes; its place is in the store anyway.
        "server.disconnectedSessionTTL": 900,
        "server.maxUploadSize": 10,
        "server.maxMessageSize": 20,
        "server.maxWidgetStateSize": 2,
        "server.sslCertFile": settings().tls_certificate,
        "server.sslKeyFile": settings().tls_key,
        "browser.gatherUsageStats": False,
        "logger.hideWelcomeMessage": True,
        "logger.level": "error",
        "logger.enableRich": False,
        "runner.postScriptGC": False,
        "runner.magicEnabled": False,
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": False,
        "client.allowedOrigins": [],
        **theme_options(),
    }


def theme_options() -> dict[str, Any]:
    """The look as Streamlit's theme, for devices set to light and to dark."""
    common: dict[str, Any] = {
        "font": look.FONT,
        "headingFont": look.FONT,
        "fontFaces": [
            {"family": FAMILY, "url": f"/font/{name}", "weight": "200 800", "unicodeRange": reach}
            for name, reach in FONT_RANGES.items()
            if files("studyapp").joinpath("assets", "fonts", name).is_file()
        ],
        "baseFontSize": 17,
        "baseFontWeight": 400,
        "headingFontSizes": ["2rem", "1.375rem", "1.125rem", "1rem", "1rem", "1rem"],
        "headingFontWeights": [700, 650, 650, 650, 650, 650],
        "baseRadius": "0.5rem",
        "buttonRadius": "0.5rem",
        "showWidgetBorder": True,
        "linkUnderline": True,
        "paddingTop": "1.25rem",
        "paddingBottom": "4rem",
    }
    options = {f"theme.{name}": value for name, value in common.items()}
    for mode, theme in SCREENS.items():
        options |= {f"theme.{mode}.{name}": value for name, value in _theme_colours(theme.colours()).items()}
    return options


def _theme_colours(tokens: dict[str, str]) -> dict[str, str]:
    """Streamlit's colour names from ours; all three of a colour are set, or a tint would be derived."""
    colours = {
        "primaryColor": tokens["patina"],
        "backgroundColor": tokens["page"],
        "secondaryBackgroundColor": tokens["card"],
        "textColor": tokens["ink"],
        "linkColor": tokens["patina_text"],
        "borderColor": tokens["edge"],
        "dataframeBorderColor": tokens["rule"],
        "dataframeHeaderBackgroundColor": tokens["field"],
    }
    ours = {"green": "patina", "orange": "copper", "yellow": "copper", "red": "brick", "blue": "quiet", "gray": "quiet"}
    for theirs, name in ours.items():
        colours[f"{theirs}Color"] = tokens[name]
        colours[f"{theirs}TextColor"] = tokens.get(f"{name}_text", tokens[name])
        colours[f"{theirs}BackgroundColor"] = tokens.get(f"{name}_wash", tokens["field"])
    return colours
