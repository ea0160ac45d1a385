"""An answer that grows on the page: shown as it gets better, and in plain words when the work fails."""

from __future__ import annotations

import time

import pytest
from streamlit.testing.v1 import AppTest

from studyapp.services import refining


def _page() -> None:
    import threading

    import streamlit as st

    from studyapp import session
    from studyapp.components import refined

    def steps():  # type: ignore[no-untyped-def]
        while threading.current_thread().name != "refining":
            yield "first answer"
        yield "second answer"
        raise ValueError("Quittentorte")

    refined.draw(session.refined("answer", 1, steps), st.text)


def test_a_failure_behind_the_page_is_said_and_logged_once(caplog: pytest.LogCaptureFixture) -> None:
    """The best answer stays; the sentence has a code and nothing of what failed, and no thread is left."""
    app = AppTest.from_function(_page).run()
    end = time.monotonic() + 30
    while not app.get("html"):
        assert [text.value for text in app.text] in (["first answer"], ["second answer"])
        assert time.monotonic() < end
        app.run()
    told = app.get("html")[0].body
    assert "something failed on our side (code " in told
    assert "Open the page again and see whether it was done" in told
    assert "Quittentorte" not in told
    app.run()
    assert app.get("html")[0].body == told
    assert [text.value for text in app.text] == ["second answer"]
    assert not app.exception
    assert [record.message for record in caplog.records].count("screen failed") == 1
    refining.stop()
