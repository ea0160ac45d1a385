"""The log: JSON lines in UTC. It names routes, roles, statuses and codes; never scores, tokens, names or free text."""

from __future__ import annotations

import json
import logging
import secrets
import traceback
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import TracebackType

from studyapp.errors import StudyError
from studyapp.words import _

FACTS = ("what", "route", "status", "kind", "code", "where", "count", "port")
_Failure = tuple[type[BaseException], BaseException, TracebackType | None]


class JsonLines(logging.Formatter):
    """One line an entry, so that no text can forge another line."""

    def format(self, record: logging.LogRecord) -> str:
        """The entry as JSON; only the facts named above are taken over from the caller."""
        entry: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
        }
        entry |= {fact: getattr(record, fact) for fact in FACTS if hasattr(record, fact)}
        if "what" not in entry:
            entry["what"] = record.msg if isinstance(record.msg, str) and not record.args else record.name
        return json.dumps(entry)


def frames(failure: BaseException) -> list[str]:
    """Where something failed, cause by cause: kinds and places only, for a message may hold what people wrote."""
    told: list[str] = []
    step: BaseException | None = failure
    while step is not None and len(told) < 60:
        told.append(type(step).__name__)
        told += [f"{Path(at.filename).name}:{at.lineno} {at.name}" for at in traceback.extract_tb(step.__traceback__)]
        step = step.__cause__ or step.__context__
    return told


def told(failure: Exception) -> str:
    """The sentence to show for a failure: a refusal's own; else ours with a code, under which the log says where."""
    if isinstance(failure, StudyError):
        return str(failure)
    code = secrets.token_hex(2).upper()
    logging.getLogger("studyapp").error("screen failed", extra={"code": code, "where": frames(failure)})
    return ours(code)


def ours(code: str) -> str:
    """What is said of a failure of ours, and what to do about it."""
    sentence = _(
        "Not done: something failed on our side (code {code}). What you did before is kept. Open the page again and "
        "see whether it was done; if it fails again, give the code to whoever looks after the server, whose log has it."
    )
    return sentence.format(code=code)


def start(path: Path | None, level: str = "INFO") -> logging.Logger:
    """Send this app's log, and warnings of what it stands on, to a file that turns over at 5 MB; None means stderr."""
    handler: logging.Handler
    if path is None:
        handler = logging.StreamHandler()
    else:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handler = RotatingFileHandler(path, maxBytes=5_000_000, backupCount=5, encoding="utf-8")
    handler.setFormatter(JsonLines())
    ours = logging.getLogger("studyapp")
    ours.setLevel(logging.getLevelNamesMapping().get(level.upper(), logging.INFO))
    ours.handlers[:] = [handler]
    ours.propagate = False
    for name in ("uvicorn.error", "uvicorn", "asyncio"):
        other = logging.getLogger(name)
        other.handlers[:] = [handler]
        other.setLevel(logging.WARNING)
        other.propagate = False
    return ours
