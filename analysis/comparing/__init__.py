"""Is the other way of making it as good? Two to four makes, tasted blind, told apart no further than was tasted.

One make is the reference; a control piece known to differ shows that the panel is awake. Of each attribute a claim is
sealed: no worse by the margin, the same within it, or better. `claims` holds the differences, with both errors of the
stop rule, against these, joins the attributes of a make by AND and steps through several makes by Holm. Each make ends
as shown, not good enough, or cannot tell. One batch of each says something about these batches only; `batches` has the
error that a claim on the make itself must face. `confounders` says what else differed, `missing` what may be said where
pieces were lost or could not be judged, `chances` what a plan can show, `price` what more sittings would settle. Less
time is claimed by a sealed pair: as good as the reference, which itself is worse in that time; by how many hours at
the least, by a `bracket`, which is rarely shown. `gates` holds the limits of instruments that a make must keep beside
its claims.

>>> import pandas as pd
>>> means = {"old": 3.5, "new": 3.6, "raw": 7.0}
>>> scores = pd.DataFrame(
...     [
...         (f"A{a}", make, "acidity", m + 0.4 * a + 0.1 * ((3 * a + len(make) + 5 * r + int(m)) % 7))
...         for a in range(8) for make, m in means.items() for r in range(2)
...     ],
...     columns=["assessor", "make", "attribute", "score"],
... )
>>> found = compare(scores, MakeRule("old", {"acidity": MakeClaim("lower", margin=1.0)}, control="raw"))
>>> found.makes["new"].verdict, found.control_result.found
('shown', True)
"""

from analysis.comparing.bracket import Bracket, PullAnswer
from analysis.comparing.claims import MAKE_VERDICTS, MakeVerdict, holm, judge
from analysis.comparing.deciding import compare
from analysis.comparing.gates import GateOfMake, Reached
from analysis.comparing.missing import LostPiece, UnjudgedPiece
from analysis.comparing.results import ClaimResult, Compared, ControlResult, Faster, MakeResult
from analysis.comparing.rule import COMPARING_VERSION, Claim, MakeClaim, MakeRule, Pull, check_make_rule

__all__ = [
    "COMPARING_VERSION",
    "MAKE_VERDICTS",
    "Bracket",
    "Claim",
    "ClaimResult",
    "Compared",
    "ControlResult",
    "Faster",
    "GateOfMake",
    "LostPiece",
    "MakeClaim",
    "MakeResult",
    "MakeRule",
    "MakeVerdict",
    "Pull",
    "PullAnswer",
    "Reached",
    "UnjudgedPiece",
    "check_make_rule",
    "compare",
    "holm",
    "judge",
]
