"""What sentences about a result are made of, whatever was tasted; the sentences of a kind stand in its folder.

Nothing heavy is imported: results are read by their attributes.
"""

from studyapp.findings.facts import Fact, caution
from studyapp.findings.numbers import beside, decimal, hours, of_studies, of_ten, percent, units

__all__ = ["Fact", "beside", "caution", "decimal", "hours", "of_studies", "of_ten", "percent", "units"]
