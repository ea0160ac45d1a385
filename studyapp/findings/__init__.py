"""Every sentence about a result, built here and nowhere else, so that screen, command and paper say the same.

Nothing heavy is imported: results are read by their attributes.
"""

from studyapp.findings.failing import standing
from studyapp.findings.headlines import stop_within
from studyapp.findings.hours import Fact, HoursFinding, caution, hours_finding
from studyapp.findings.numbers import beside, decimal, hours, of_studies, of_ten, percent, units
from studyapp.findings.offers import Costs, OfferRow, offer_rows
from studyapp.findings.pulls import attribute_alt, enough, pull_says, shown
from studyapp.findings.warnings import warning_sentence

__all__ = [
    "Costs",
    "Fact",
    "HoursFinding",
    "OfferRow",
    "attribute_alt",
    "beside",
    "caution",
    "decimal",
    "enough",
    "hours",
    "hours_finding",
    "of_studies",
    "of_ten",
    "offer_rows",
    "percent",
    "pull_says",
    "shown",
    "standing",
    "stop_within",
    "units",
    "warning_sentence",
]
