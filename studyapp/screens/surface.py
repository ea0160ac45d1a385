"""How much surface the particles of a mass have: from sizes that are pasted, and from fineness that was read."""

from __future__ import annotations

import json

import streamlit as st

from studyapp import session
from studyapp.components import acts, drawn, look
from studyapp.findings import surface as findings
from studyapp.pictures.surface import surface_by_size
from studyapp.services import batches, readings, sizes
from studyapp.words import _

DENSITY = 1500.0  # kg/m³, about that of sugar and cocoa solids together; common practice, no source


def render() -> None:
    """The batch in the address; what is pasted is shown and not kept."""
    by, store = session.someone("leader", "preparer"), session.store()
    found = batches.batch(store, by, session.batch_id() or "")
    st.set_page_config(page_title=_("{batch}: surface").format(batch=found.draft.label))
    look.put(look.crumb(found.draft.label, _("surface"), session.href("batch", batch=found.id)))
    none: tuple[list[findings.Mass], float] = ([], DENSITY)
    masses, density = session.kept(f"sizes-{found.id}", none)
    look.put(look.title(findings.headline(masses)))
    look.put(look.lede(findings.caution()))
    if told := findings.from_fineness(readings.read(store, by, found.id)):
        look.put(look.text(told))
    if masses:
        with st.container(key="card-chart-surface"):
            look.put(look.title(_("Surface, m²/kg, against size"), 3))
            drawn.put(json.dumps(surface_by_size(masses, density, session.theme())), findings.picture_says(masses))
        heads = [_("mass"), _("mean size, µm"), _("surface, m²/kg")]
        look.put(look.table(heads, findings.rows(masses)))
    _sizes(found.id, found.draft.label, density)


def _sizes(id_: str, label: str, density: float) -> None:
    """Up to two masses, as milled first and conched first."""
    with st.form("sizes", border=False), st.container(key="typed-sizes"):
        told = _("A line a size: µm, then % of the volume at it. Nothing of it is kept here; keep the file itself.")
        look.put(look.quiet(told))
        pasted = []
        for number, (cell, name) in enumerate(zip(st.columns(2), (label, _("another mass")), strict=True)):
            shown = cell.text_input(_("Mass {n}").format(n=number + 1), name, max_chars=80, key=f"mass-{number}")
            text = cell.text_area(
                _("Sizes of mass {n}").format(n=number + 1), placeholder="10 30\n20 50\n40 20", key=f"sizes-{number}"
            )
            pasted.append((shown, text))
        given = st.number_input(
            _("Density of the particles, kg/m³"), 500.0, 5000.0, density, format="%.6g", key="density"
        )
        if st.form_submit_button(_("Reckon the surface"), type="primary"):
            with acts.refusals():
                read = [(name, sizes.distribution(text)) for name, text in pasted]
                weight = float(given or DENSITY)
                session.keep(f"sizes-{id_}", (findings.of_masses(read, weight), weight))
                st.rerun()
