"""What an assessor waits for: their path loads neither numpy nor pandas, and the options it needs still exist."""

from __future__ import annotations

import subprocess
import sys

import pytest

ASSESSORS_PATH = (
    "studyapp.routes",
    "studyapp.services.tasting",
    "studyapp.services.joining",
    "studyapp.services.trying",
    "studyapp.store",
    "studyapp.session",
    "studyapp.screens.taste",
    "studyapp.screens.sign_in",
    "studyapp.components.ballot",
    "studyapp.components.rest_timer",
    "studyapp.components.step",
    "studyapp.components.trial",
    "studyapp.components.look",
    "studyapp.server",
)
HEAVY = ("numpy", "pandas", "scipy", "statsmodels", "pingouin", "altair", "pyarrow", "typst", "vl_convert")


def loaded(code: str) -> set[str]:
    """The heavy modules that some code leaves loaded in a fresh interpreter."""
    told = f"{code}\nimport sys\nprint(*[name for name in {HEAVY!r} if name in sys.modules])"
    ended = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, timeout=60, check=True)
    return set(ended.stdout.split())


@pytest.mark.parametrize("module", ASSESSORS_PATH)
def test_the_assessors_path_is_light(module: str) -> None:
    """Nothing heavy stands between an assessor and the next cup."""
    assert loaded(f"import {module}") == set()


def test_the_check_can_fail() -> None:
    """A module that does load numpy is seen."""
    assert "numpy" in loaded("import analysis.stopping.deciding")


def test_a_drawn_ballot_is_light() -> None:
    """Drawing, not only importing: the frame and every page of a sitting."""
    code = """
import logging; logging.disable(logging.CRITICAL)
from studyapp.records import Line, Place
from studyapp.screens import taste
kinds = "welcome waiting warm_up serving rest paused done stopped left nothing trial"
for kind in kinds.split():
    lines = (Line("a", "Acidity", "", "none", "strong"),)
    taste.draw(Place(kind, "Heron", serving="s", code="508", lines=lines, ready_at="2026-01-01T00:00:00Z",
        trial="t", cups=("508", "731", "294"), ask="Which?", pick=1), "box")
"""
    assert loaded(code) == set()


@pytest.mark.parametrize("option", ["runner.postScriptGC", "client.allowedOrigins"])
def test_hidden_options_are_still_accepted(option: str) -> None:
    """Both are undocumented; a Streamlit that drops them must not pass unseen, for the first is worth a factor 4."""
    from streamlit import config

    assert option in config._config_options_template


def test_every_option_we_set_exists() -> None:
    """Streamlit knows each option that the server sets, the look's included."""
    from streamlit import config

    from studyapp.server import Listening, _options

    options = _options(Listening("127.0.0.1", 8501, False, None))
    assert options["theme.fontFaces"], "the own font is served"
    assert [name for name in options if name not in config._config_options_template] == []
