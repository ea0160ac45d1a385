"""Where a SQLite store may lie: a local disk, a folder and a file of this account, readable by nobody else.

Every refusal is one sentence and comes before anything is created. Nothing here opens an existing store that this
process may hold: closing it again would drop the locks SQLite holds on it.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from pathlib import Path

from studyapp.errors import StoreProblem
from studyapp.settings import default_folder
from studyapp.words import _

LOCKED_FROM, LOCK_BYTES = 0x40000000, 512
NETWORK_TYPES = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse", "fuseblk", "9p", "afs", "ncpfs")


def make(path: Path) -> None:
    """Make the file, and the folder if it is the usual one, for this account alone."""
    if path.exists():
        _drop_second_names(path)
        return
    if path.resolve().parent == default_folder().resolve():
        path.resolve().parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def tighten(path: Path) -> None:
    """Take the rights of others off a file they could read."""
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        path.chmod(0o600)


def flush(path: Path) -> None:
    """Wait until a finished copy, or the names in a folder, have reached the disk."""
    if os.name != "posix" and path.is_dir():
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def is_still(path: Path) -> bool:
    """Whether nobody has the file open: SQLite keeps a log or a journal beside a file in use, and removes it last."""
    return path.is_file() and not any(Path(f"{path}{tail}").exists() for tail in ("-wal", "-journal"))


def is_locked(path: Path) -> bool:
    """Whether another program holds SQLite's lock on the bytes that stand for a file in use, in a file that SQLite
    itself can no longer read. Never asked of a store that this process has open: closing the handle would drop its
    locks. https://sqlite.org/src/file/src/os.h: 512 bytes from 0x40000000 on."""
    if os.name != "posix":
        return False
    import fcntl

    handle = os.open(path, os.O_RDWR)
    try:
        fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB, LOCK_BYTES, LOCKED_FROM)
    except OSError as error:
        return error.errno in (errno.EACCES, errno.EAGAIN)
    finally:
        os.close(handle)
    return False


def name_twice(path: Path, other: Path) -> None:
    """Give a file a second name, or move it there where the file system knows no second names."""
    try:
        os.link(path, other)
    except OSError:
        os.replace(path, other)


def _drop_second_names(path: Path) -> None:
    """A restore that was killed may leave one file under two names, and SQLite keeps one log for each name it is
    opened by (https://sqlite.org/howtocorrupt.html, section 2.4)."""
    if path.stat().st_nlink > 1:
        for other in path.parent.glob(f"{path.name}.before-*"):
            if other.samefile(path):
                other.unlink()


def refuse_unfit(path: Path, read_only: bool) -> None:
    """Say in one sentence why this file cannot be the store.

    Raises:
        StoreProblem: the folder is missing, on a network drive or may not be written; the file is no file of ours.
    """
    folder = path.resolve().parent
    usual = folder == default_folder().resolve()
    if not folder.is_dir() and (read_only or not usual):
        raise StoreProblem(_("Not done: the folder {folder} does not exist. Make it first.").format(folder=folder))
    _refuse_network(folder)
    if path.exists():
        _refuse_file(path, read_only)
    elif read_only:
        raise StoreProblem(_("Not done: there is no store at {path}.").format(path=path))
    if not read_only and folder.is_dir() and not writable(folder):
        raise StoreProblem(
            _("Not done: the folder {folder} may only be read. Name a folder this account may write.").format(
                folder=folder
            )
        )


def _refuse_file(path: Path, read_only: bool) -> None:
    """The file exists: it must be ours and writable."""
    if not path.is_file():
        raise StoreProblem(_("Not done: {path} is not a file. Name a file.").format(path=path))
    if hasattr(os, "geteuid") and path.stat().st_uid != os.geteuid() and not read_only:
        raise StoreProblem(
            _("Not done: {path} belongs to another account. Start the app as its owner.").format(path=path)
        )
    if not read_only and not writable(path):
        raise StoreProblem(
            _("Not done: {path} may only be read. Give this account the right to write it.").format(path=path)
        )
    if not os.access(path, os.R_OK):
        raise StoreProblem(
            _("Not done: {path} may not be read by this account. Start the app as its owner.").format(path=path)
        )


def writable(path: Path) -> bool:
    """Whether owner and account agree that it may be written; the administrator is held to the owner's wish."""
    return bool(path.stat().st_mode & stat.S_IWUSR) and os.access(path, os.W_OK)


def _refuse_network(folder: Path) -> None:
    kind = _file_system(folder)
    if kind in NETWORK_TYPES or kind.startswith("fuse."):
        sentence = _(
            "Not done: {folder} is on a network drive ({kind}), where a file store can lose answers. "
            "Use a local disk or PostgreSQL."
        )
        raise StoreProblem(sentence.format(folder=folder, kind=kind))


def _file_system(folder: Path) -> str:
    """The type of the file system of `folder` on Linux, empty elsewhere."""
    if not sys.platform.startswith("linux"):
        return ""
    best, kind = "", ""
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace").splitlines():
            _device, point, type_, *_rest = line.split(" ")
            point = point.replace("\\040", " ")
            if f"{folder}/".startswith(f"{point.rstrip('/')}/") and len(point) >= len(best):
                best, kind = point, type_
    return kind
