"""Paper: every function takes records and a time, and gives the bytes of a PDF.

The time is an argument, so the same data give the same bytes. `papers.paper` serves the guarded addresses.
"""

from studyapp.printing.kit import A4_65, LabelSheet, fill_sheet, label_outlines, labels, preparation_pdf, tray_sheets
from studyapp.printing.slips import ballots_pdf, join_cards_pdf

__all__ = [
    "A4_65",
    "LabelSheet",
    "ballots_pdf",
    "fill_sheet",
    "join_cards_pdf",
    "label_outlines",
    "labels",
    "preparation_pdf",
    "tray_sheets",
]
