"""What the environment decides, in one frozen value."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path


@dataclass(frozen=True, slots=True)
class Settings:
    """`store` is a database URL; `demo` opens the invented workshop; `log_level` as the standard logging names it.

    `address` is what phones open where something else answers for several processes, for example http://tasting.lan.
    `log_file` "-" means stderr, empty the data folder; `hosts` are further names this server answers to; the
    certificate and its key are PEM files.
    """

    store: str
    demo: bool = False
    log_level: str = "INFO"
    log_file: str = ""
    hosts: tuple[str, ...] = ()
    tls_certificate: str | None = None
    tls_key: str | None = None
    address: str = ""


def default_folder() -> Path:
    """The data folder of this account; it need not exist yet."""
    return user_data_path("studyapp", appauthor=False)


def default_store() -> str:
    """One SQLite file in the data folder of this account."""
    return f"sqlite:///{default_folder() / 'studies.sqlite'}"


def settings() -> Settings:
    """The settings of this process, from the variables STUDYAPP_STORE, _DEMO, _LOG, _LOG_FILE, _HOSTS, _ADDRESS,
    _TLS_CERTIFICATE and _TLS_KEY."""
    env = os.environ
    return Settings(
        store=env.get("STUDYAPP_STORE") or default_store(),
        demo=env.get("STUDYAPP_DEMO") == "1",
        log_level=env.get("STUDYAPP_LOG", "INFO"),
        log_file=env.get("STUDYAPP_LOG_FILE", ""),
        hosts=tuple(env.get("STUDYAPP_HOSTS", "").lower().replace(",", " ").split()),
        tls_certificate=env.get("STUDYAPP_TLS_CERTIFICATE") or None,
        tls_key=env.get("STUDYAPP_TLS_KEY") or None,
        address=env.get("STUDYAPP_ADDRESS", "").rstrip("/"),
    )
