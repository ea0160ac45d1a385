"""What the environment decides, in one frozen value."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path


@dataclass(frozen=True, slots=True)
class Settings:
    """`store` is a database URL; `demo` opens the invented workshop; `log_level` as the standard logging names it."""

    store: str
    demo: bool = False
    log_level: str = "INFO"


def default_folder() -> Path:
    """The data folder of this account; it need not exist yet."""
    return user_data_path("studyapp", appauthor=False)


def default_store() -> str:
    """One SQLite file in the data folder of this account."""
    return f"sqlite:///{default_folder() / 'studies.sqlite'}"


def settings() -> Settings:
    """The settings of this process: STUDYAPP_STORE, STUDYAPP_DEMO, STUDYAPP_LOG."""
    env = os.environ
    return Settings(
        env.get("STUDYAPP_STORE") or default_store(), env.get("STUDYAPP_DEMO") == "1", env.get("STUDYAPP_LOG", "INFO")
    )
