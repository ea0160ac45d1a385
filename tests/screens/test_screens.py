"""Screens on a real store: each opens for its role, refuses a browser that is signed out, and leads to the next."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import studyapp
from studyapp import session
from studyapp.errors import NotAllowed
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours import findings as hours_findings
from studyapp.kinds.hours.deciding import what_if
from studyapp.services import accounts, closing, joining, panel, planning, preparing, unread, watching, worked_out
from studyapp.store import open_store
from tests.conftest import CHECKS, another_leader

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]
BATCHES = "batches batch write_batch readings butter surface"
LISTED = "pulls losing panel account limits"
FRAME = Path(studyapp.__file__).with_name("app.py")


# ---- who may open what -------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("who", "pages"),
    [
        (
            "Ada",
            f"studies {BATCHES} plan prepare watch papers open_key decide bring hours_book {LISTED}",
        ),
        ("Ben", f"prepare {BATCHES} papers pulls losing account limits"),
        ("", "sign_in limits"),
    ],
)
def test_the_frame_offers_each_role_its_own_pages(
    workshop: Any, monkeypatch: pytest.MonkeyPatch, who: str, pages: str
) -> None:
    token = accounts.sign_in(workshop.store, who, workshop.passphrase, "10.0.0.9") if who else ""
    monkeypatch.setattr(session, "read_cookies", lambda: {"staff": token})
    session.use(workshop.store)
    app = AppTest.from_file(str(FRAME), default_timeout=60).run()
    session.use(None)
    assert not app.exception
    assert set(app.session_state["_pages"]) == set(pages.split())


def test_an_empty_store_opens_with_the_question(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    store = open_store(str(tmp_path / "empty.sqlite"))
    monkeypatch.setattr(session, "read_cookies", dict)
    session.use(store)
    app = AppTest.from_file(str(FRAME), default_timeout=60).run()
    session.use(None)
    store.close()
    assert not app.exception
    assert "How long must the conche run?" in said(app)
    assert "studyapp run --demo" in said(app)


@pytest.mark.usefixtures("second_language")
@pytest.mark.parametrize(("asked", "says"), [("fr-FR", "⟦How long must the conche run?⟧"), ("en-GB", "How long must")])
def test_a_page_is_spoken_to_who_opened_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Said, asked: str, says: str
) -> None:
    """In the language of the browser that draws it."""
    store = open_store(str(tmp_path / "empty.sqlite"))
    monkeypatch.setattr(session, "read_cookies", dict)
    monkeypatch.setattr(type(st.context), "locale", asked)
    session.use(store)
    app = AppTest.from_file(str(FRAME), default_timeout=60).run()
    session.use(None)
    store.close()
    assert not app.exception
    assert says in said(app)
    assert ("⟦" in said(app)) == ("⟦" in says)


@pytest.mark.parametrize("name", ["studies", "plan", "prepare", "watch", "open_key", "decide", "panel"])
def test_a_browser_that_is_signed_out_is_refused(screen: Screen, name: str) -> None:
    app = screen(name, who="")
    assert not app.exception
    assert [error.value for error in app.error] == [
        "Not done: you are signed out. Sign in again; what you did before is kept."
    ]


@pytest.mark.parametrize("name", ["studies", "plan", "prepare", "watch", "open_key", "decide", "panel", "bring"])
def test_every_screen_opens_for_the_leader_and_has_a_heading(screen: Screen, said: Said, name: str) -> None:
    app = screen(name)
    assert not app.exception
    assert not app.error
    assert "<h1" in said(app)


def test_the_preparer_opens_the_kitchen_but_not_the_panel(screen: Screen, said: Said) -> None:
    kitchen = screen("prepare", who="Ben")
    assert not kitchen.error
    assert "Dark 72 %, lot 14, Tasting 1" in said(kitchen)


def test_one_study_among_many_is_found(screen: Screen, said: Said, workshop: Any) -> None:
    """Thirty studies: lines on two pages, and a search that says how many stand where."""
    for number in range(29):
        planning.new_study(workshop.store, workshop.leader, "hours", f"Milk 45 %, lot {number + 20}")
    app = screen("studies")
    assert len([each for each in app.button if str(each.key).startswith("go-")]) == 20
    app.selectbox(key="page-now").select(1).run()
    assert len([each for each in app.button if str(each.key).startswith("go-")]) == 10
    app.text_input(key="find-study").input("lot 41").run()
    assert "Milk 45 %, lot 41" in said(app)
    assert "Milk 45 %, lot 40" not in said(app)
    app.text_input(key="find-study").input("mint").run()
    assert "Nothing is called “mint” here." in said(app)


@pytest.mark.parametrize("name", ["studies", "plan", "watch", "open_key", "decide", "panel"])
def test_the_leader_s_screens_refuse_the_preparer(screen: Screen, name: str) -> None:
    refused = [error.value for error in screen(name, who="Ben").error]
    assert refused == ["Not done: your role does not open this page. Ask the panel leader."]


# ---- from the name to the seal -----------------------------------------------------------------------------------
def test_a_study_begins_with_its_name_and_opens_its_plan(screen: Screen, said: Said, workshop: Any) -> None:
    app = screen("studies")
    app.text_input(key="new-name").set_value("Milk 45 %, lot 3")
    app.button(key="FormSubmitter:new-study-Plan a study").click().run()
    assert not app.exception
    assert "Plan: Milk 45 %, lot 3" in said(app)
    assert {study.plan.title for study in planning.studies(workshop.store, workshop.leader)} >= {"Milk 45 %, lot 3"}


def test_what_is_typed_into_a_plan_is_kept_at_once(screen: Screen, workshop: Any, draft: str) -> None:
    app = screen("plan", study=draft)
    app.text_area(key=f"question-{draft}").set_value("When is it done?").run()
    app.text_input(key=f"pulls-{draft}").set_value("24 0; 8, 16").run()
    app.button(key=f"usual-{draft}").click().run()
    assert not app.exception
    kept = planning.study(workshop.store, workshop.leader, draft).plan
    assert kept.question == "When is it done?"
    assert [pull.hours for pull in kept.pulls] == [0.0, 8.0, 16.0, 24.0]
    assert [line.name for line in kept.attributes][:2] == ["Acidity", "Bitterness"]
    assert kept.attributes[-1].decides is False


def test_a_pull_that_is_no_number_is_named_and_nothing_is_lost(
    screen: Screen, said: Said, workshop: Any, draft: str
) -> None:
    app = screen("plan", study=draft)
    app.text_input(key=f"pulls-{draft}").set_value("0, 8h, 24").run()
    assert "Fix the pulls: “8h” is not a number of hours. Write 8." in said(app)
    assert planning.study(workshop.store, workshop.leader, draft).plan.pulls == ()
    elsewhere = screen("plan", study=draft)
    assert elsewhere.text_input(key=f"pulls-{draft}").value == "0, 8h, 24", "whoever opens the page next sees it too"
    elsewhere.text_input(key=f"pulls-{draft}").set_value("0, 8, 24").run()
    assert unread.texts(workshop.store, workshop.leader, draft) == {}


def test_whoever_is_added_to_the_panel_tastes_in_the_plan_and_the_field_is_empty_again(
    screen: Screen, workshop: Any, draft: str
) -> None:
    app = screen("plan", study=draft)
    for name in ("Rook", "Dipper"):
        field = next(one for one in app.text_input if one.label == "Pseudonym")
        assert field.value == ""
        field.set_value(name).run()
        app.button(key=f"newcomer-add-{draft}").click().run()
        assert not app.exception
    names = {one.id: one.pseudonym for one in panel.assessors(workshop.store, workshop.leader)}
    kept = planning.study(workshop.store, workshop.leader, draft).plan
    assert [names[id_] for id_ in kept.assessors] == ["Rook", "Dipper"]


def test_an_unfinished_plan_is_not_scolded_until_somebody_tries_to_seal_it(
    screen: Screen, said: Said, draft: str
) -> None:
    app = screen("plan", study=draft)
    assert "Fix the question" not in said(app)
    app.button(key=f"seal-{draft}").click().run()
    assert "Fix the question" in said(app)
    assert "things to mend first" in said(app)


def test_pulls_that_cannot_be_read_are_mended_before_the_seal(screen: Screen, said: Said, workshop: Any) -> None:
    """What stands on the page is what is sealed: not the pulls kept before."""
    copy = planning.copy(workshop.store, workshop.leader, workshop.study)
    app = screen("plan", study=copy)
    app.text_input(key=f"pulls-{copy}").set_value("0, 8h, 24").run()
    app.button(key=f"seal-{copy}").click().run()
    app.button(key=f"seal-{copy}").click().run()
    assert not app.exception
    assert "1 thing to mend first" in said(app)
    assert not [field for field in app.text_input if field.key == f"typed-{copy}"]
    app.text_input(key=f"pulls-{copy}").set_value("0, 8, 24").run()
    app.button(key=f"seal-{copy}").click().run()
    assert [field for field in app.text_input if field.key == f"typed-{copy}"]


def test_a_sealed_plan_shows_its_rule_and_no_field(screen: Screen, said: Said, workshop: Any) -> None:
    app = screen("plan", study=workshop.study)
    sealed = planning.study(workshop.store, workshop.leader, workshop.study)
    assert sealed.seal is not None
    assert sealed.seal in said(app)
    assert "Acidity decides: less is wanted, at most 1.0 units worse" in said(app)
    assert [field.label for field in app.text_input] == []


def _caution() -> None:
    from studyapp import session
    from studyapp.components import panel_list

    panel_list.nobody_prepares(session.store(), session.someone())


def test_a_workshop_without_a_preparer_says_who_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    store = open_store(str(tmp_path / "alone.sqlite"))
    leader = accounts.first_leader(store, "Ada", "a bench by the window")
    token = accounts.sign_in(store, "Ada", "a bench by the window", "10.0.0.9")
    monkeypatch.setattr(session, "read_cookies", lambda: {"staff": token})
    session.use(store)
    alone = said(AppTest.from_function(_caution, default_timeout=60).run())
    accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
    together = said(AppTest.from_function(_caution, default_timeout=60).run())
    session.use(None)
    store.close()
    assert "Nobody prepares yet." in alone
    assert together == ""


# ---- the kitchen ----------------------------------------------------------------------------------------------------
def test_the_key_shows_no_hour_before_its_button_and_is_an_event_after(
    screen: Screen, said: Said, workshop: Any
) -> None:
    app = screen("prepare", who="Ben")
    assert "cannot taste in this study" in said(app)
    assert "Which box into which cup" not in said(app)
    app.button(key="open-fill").click().run()
    assert not app.exception
    assert "Which box into which cup" in said(app)
    with workshop.store.read() as tx:
        kinds = tx.exec_driver_sql("SELECT kind FROM event").scalars().all()
    assert "key seen" in kinds


def test_a_tray_leaves_only_with_every_check_and_a_second_person(
    screen: Screen, said: Said, workshop: Any, draft: str
) -> None:
    copy = planning.copy(workshop.store, workshop.leader, workshop.study)
    title = planning.study(workshop.store, workshop.leader, copy).plan.title
    planning.seal(workshop.store, workshop.leader, copy, title)
    sitting = preparing.sittings(workshop.store, workshop.leader, copy)[0].id
    app = screen("prepare", who="Ben", study=copy)
    app.text_input(key=f"second-{sitting}").set_value("Cleo")
    app.button(key=f"read-1-{sitting}").click().run()
    app.button(key=f"read-2-{sitting}").click().run()
    app.button(key=f"release-{sitting}").click().run()
    assert "Not released" in said(app)
    for check in CHECKS - {"labels_read"}:
        app.checkbox(key=f"check-{check}-{sitting}").check()
    app.button(key=f"release-{sitting}").click().run()
    assert not app.exception
    trays = preparing.trays(workshop.store, workshop.preparer, sitting)
    assert [tray.released_at is not None for tray in trays][:3] == [True, True, False]
    again = screen("prepare", who="Ben", sitting=sitting)
    assert all(again.checkbox(key=f"check-{check}-{sitting}").value for check in CHECKS - {"labels_read"})
    assert again.text_input(key=f"second-{sitting}").value == "Cleo"


# ---- the sitting ----------------------------------------------------------------------------------------------------
def test_watching_shows_who_is_where_and_never_a_mark(screen: Screen, said: Said, workshop: Any, hands: Any) -> None:
    here = hands[0].serving()
    for line in here.lines:
        hands[0].mark(here.serving, line.id, 7.3)
    app = screen("watch", study=workshop.study)
    text = said(app)
    assert "tasting serving 1" in text
    assert "has not opened the link yet" in text or "reads the first page" in text
    assert "7.3" not in text


def test_links_of_this_server_can_be_shown_and_end_only_when_that_is_confirmed(
    screen: Screen, said: Said, workshop: Any, hands: Any
) -> None:
    """Five have joined: the dialog names three and counts two. Codes made since the start are shown again."""
    app = screen("watch", study=workshop.study)
    assert "/join/" not in said(app)
    app.button(key="anew").click().run()
    assert "This ends the links of Heron, Lark, Siskin and 2 more" in said(app)
    assert joining.seat_of(workshop.store, hands[0].token)
    joining.issue_links(workshop.store, workshop.leader, workshop.sitting.id)
    text = said(screen("watch", study=workshop.study))
    assert text.count("/join/") == len(workshop.links)
    assert workshop.links[0].code not in text


def test_one_person_gets_another_link_and_nobody_else_notices(
    screen: Screen, said: Said, workshop: Any, hands: Any
) -> None:
    app = screen("watch", study=workshop.study)
    app.button(key="link-for-Lark").click().run()
    assert "A new link for Lark" in said(app)
    assert all(joining.seat_of(workshop.store, hand.token) for hand in hands)
    assert "A new link for Lark" in said(app.run()), "it stays until it is put away"


# ---- the key and the verdict ----------------------------------------------------------------------------------------
def test_the_only_leader_opens_the_key_and_says_why(screen: Screen, said: Said, tasted: Any) -> None:
    workshop = tasted("stop")
    app = screen("open_key", study=workshop.study)
    app.button(key="open-key").click().run()
    assert "Not opened: write why nobody opens the key together with you" in said(app)
    app.text_input(key="opener").set_value("Nobody else leads here.")
    app.button(key="open-key").click().run()
    assert not app.exception
    assert planning.study(workshop.store, workshop.leader, workshop.study).state == "opened"
    assert "Stop at 12 hours." in said(app)
    assert "The key was opened by one person: Nobody else leads here." in said(app)


def test_two_leaders_open_the_key_one_after_the_other(screen: Screen, said: Said, tasted: Any) -> None:
    """The one who asked waits; another account opens it on the same page, and the verdict names both."""
    workshop = tasted("stop")
    ida = another_leader(workshop.store, workshop.leader)
    app = screen("open_key", study=workshop.study)
    app.button(key="ask-key").click().run()
    assert "It opens when another panel leader presses the button here." in said(app)
    assert "open-key" not in {button.key for button in app.button}
    closing.open_key(workshop.store, ida, workshop.study)
    assert "opened by one person" not in said(screen("decide", study=workshop.study))


@pytest.mark.parametrize(
    ("verdict", "headline"),
    [
        ("stop", "Stop at 12 hours."),
        ("conche longer", "Conche longer than 24 hours."),
        ("no hour fits", "No hour that was served (0 to 24 h) fits."),
        ("cannot tell", "Cannot tell yet."),
    ],
)
def test_each_verdict_has_its_page(screen: Screen, said: Said, opened: Any, verdict: str, headline: str) -> None:
    workshop = opened(verdict)
    assert deciding.decision(workshop.store, workshop.leader, workshop.study).verdict == verdict
    app = screen("decide", study=workshop.study)
    assert not app.exception
    text = said(app)
    assert headline in text
    assert "A taste result only." in text
    assert "/print/report/" in str(app.get("link_button")[0].proto)
    assert ("Ways to an answer" in text) is (verdict == "cannot tell")
    buttons = {button.key for button in app.button}
    assert ("sign" in buttons) is (verdict != "cannot tell")
    assert ("way-0" in buttons) is (verdict == "cannot tell")


def test_a_rerun_works_nothing_out_and_shows_the_same(
    screen: Screen, said: Said, opened: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Verdict, price, ways, description and pictures are kept by the first run; the next one adds nothing to them."""
    monkeypatch.setattr(worked_out, "_keeper", worked_out.Keeper())  # empty, so that it can be counted

    def kept_of_it() -> int:
        """Without what the page of an earlier test may still be trying."""
        return sum(of() is workshop.store for of, _name in list(worked_out._keeper._kept))

    workshop = opened("cannot tell")
    app = _with_a_way(screen("decide", study=workshop.study))
    while "Trying" in said(app):
        app.run()
    first, drawn, kept = said(app), [str(one.proto.spec) for one in app.get("vega_lite_chart")], kept_of_it()
    assert (len(drawn), kept) == (3, 8)
    app.run()
    assert said(app) == first
    assert [str(one.proto.spec) for one in app.get("vega_lite_chart")] == drawn
    assert kept_of_it() == kept
    watching.note_deviation(workshop.store, workshop.leader, workshop.study, "A window stood open.")
    assert "A window stood open." in said(app.run())
    while "Trying" in said(_with_a_way(app)):
        app.run()
    assert kept_of_it() == 2 * kept


def test_two_other_programs_are_asked_only_when_somebody_wants_to_know(screen: Screen, said: Said, opened: Any) -> None:
    workshop = opened("stop")
    app = screen("decide", study=workshop.study)
    assert "log-likelihood" not in said(app)
    before = said(app)
    app.checkbox(key="second-opinion").check().run()
    assert not app.exception
    text = said(app)
    assert text.count("statsmodels agrees") == 2
    assert text.count("log-likelihood, restricted") == 2
    assert "Nothing of it touches the verdict." in text
    assert all(line in text for line in before.splitlines() if "verdict" in line)


def _box() -> None:
    from studyapp.kinds.hours.pages import second_opinion

    second_opinion.draw(lambda: 1 / 0)  # type: ignore[arg-type, return-value]


def test_an_unticked_box_asks_nobody() -> None:
    """Asking is a division by zero here, so that it cannot pass unseen."""
    app = AppTest.from_function(_box, default_timeout=60).run()
    assert not app.exception
    app.checkbox(key="second-opinion").check().run()
    assert "division by zero" in app.exception[0].message


def _with_a_way(app: AppTest) -> AppTest:
    """The page once its first way to an answer is worked out."""
    until = time.monotonic() + 120
    while not any(one.key == "way-0" for one in app.button):
        assert time.monotonic() < until
        app.run()
    return app


def test_the_next_sitting_is_planned_from_the_page_of_cannot_tell(screen: Screen, opened: Any) -> None:
    workshop = opened("cannot tell")
    app = _with_a_way(screen("decide", study=workshop.study))
    app.button(key="way-0").click().run()
    assert not app.exception
    sittings = preparing.sittings(workshop.store, workshop.leader, workshop.study)
    assert [sitting.state for sitting in sittings] == ["closed", "planned"]


def test_when_the_sealed_looks_are_used_up_the_way_to_a_new_study_stands_there(
    screen: Screen, said: Said, opened: Any
) -> None:
    workshop = opened("cannot tell")
    following = deciding.plan_next_sitting(workshop.store, workshop.leader, workshop.study)[0]
    watching.open_sitting(workshop.store, workshop.leader, following.id)
    watching.close_sitting(workshop.store, workshop.leader, following.id, "nobody came")
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
    app = screen("decide", study=workshop.study)
    assert "The key has been opened as often as was sealed" in said(app)
    _with_a_way(app).button(key="way-0").click().run()
    assert not app.exception
    (draft,) = (one for one in planning.studies(workshop.store, workshop.leader) if one.state == "draft")
    assert draft.plan.title.endswith(": the same plan in a new study")


def test_deviations_stand_on_the_page_of_the_verdict(screen: Screen, said: Said, opened: Any) -> None:
    workshop = opened("stop")
    watching.note_deviation(workshop.store, workshop.leader, workshop.study, "Tray 3 left late <b>")
    text = said(screen("decide", study=workshop.study))
    assert "Tray 3 left late &lt;b&gt;" in text
    assert "with the results known" in text


def test_a_study_that_is_not_here_yet_says_where_it_is(screen: Screen, said: Said, workshop: Any) -> None:
    """Never another study's verdict in its place."""
    text = said(screen("decide", study=workshop.study))
    assert "Dark 72 %, lot 14 is sealed and its key is closed. Go on from Studies." in text


# ---- an invented study ----------------------------------------------------------------------------------------------
def test_margins_are_tried_on_invented_studies_only(screen: Screen, said: Said, opened: Any) -> None:
    workshop = opened("stop")
    assert "Change one thing" not in said(screen("decide", study=workshop.study))
    with pytest.raises(NotAllowed, match="sealed"):
        what_if.what_if(workshop.store, workshop.leader, workshop.study, {"Acidity": 0.5}, 5)


def test_a_tighter_margin_moves_the_answer_of_an_invented_study(screen: Screen, said: Said, opened: Any) -> None:
    workshop = opened("stop")
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE study SET example = 1")
    app = screen("decide", study=workshop.study)
    assert "Change one thing" in said(app)
    sealed = deciding.decision(workshop.store, workshop.leader, workshop.study)
    app.selectbox(key="what-if-attribute").set_value("Acidity").run()
    app.number_input(key="what-if-Acidity").set_value(0.1).run()
    assert not app.exception
    moved = what_if.what_if(workshop.store, workshop.leader, workshop.study, {"Acidity": 0.1}, 5)
    assert (moved.verdict, moved.hours) != (sealed.verdict, sealed.hours)
    assert hours_findings.hours_finding(moved).headline in said(app)


# FIX
