"""When may the conche stop? The sealed rule, the limits it reads, one verdict.

Every pull is set against the longest one. Two errors stand behind each difference, of which the wider decides: the
panel's, from the mixed model, and the assessors' own, with each person as the unit (`standard_errors`); where a tray
may shift a sitting, a third. `evidence` turns estimates and limits into flags, pull by pull: within its margin and its
limit (non-inferiority, or equivalence for notes that must stay the same), shown to fail, past its best, inside its
window. `verdicts` joins attributes by AND and steps down from the longest pull: stop at so many hours, conche longer,
no hour fits, or cannot tell. The error is spent over the sealed looks by `alpha_spending`; `warnings` says what stands
beside a verdict and never moves it.

>>> import pandas as pd
>>> means = {0: 7.0, 8: 3.6, 16: 3.5, 24: 3.5}
>>> scores = pd.DataFrame(
...     [
...         (f"A{a}", h, "acidity", m + 0.4 * a + 0.1 * ((3 * a + h + 5 * r) % 7))
...         for a in range(8) for h, m in means.items() for r in range(2)
...     ],
...     columns=["assessor", "hours", "attribute", "score"],
... )
>>> found = decide(scores, Rule({"acidity": AttributeRule(wanted="lower", margin=1.0)}))
>>> found.verdict, found.hours, found.control_found
('stop', 8.0, True)
"""

from analysis.stopping.alpha_spending import level
from analysis.stopping.deciding import decide
from analysis.stopping.decision import Anova, AttributeResult, Decision, PullResult, Warning
from analysis.stopping.departing import Alone, BatchNumbers, Departure
from analysis.stopping.fates import LostPull, Unjudged
from analysis.stopping.panels import batches_in, of_batch
from analysis.stopping.rule import RULE_VERSION, AttributeRule, Claim, Rule, Wanted, check_rule
from analysis.stopping.several import tested_claim
from analysis.stopping.verdicts import Verdict, judge

__all__ = [
    "RULE_VERSION",
    "Alone",
    "Anova",
    "AttributeResult",
    "AttributeRule",
    "BatchNumbers",
    "Claim",
    "Decision",
    "Departure",
    "LostPull",
    "PullResult",
    "Rule",
    "Unjudged",
    "Verdict",
    "Wanted",
    "Warning",
    "batches_in",
    "check_rule",
    "decide",
    "judge",
    "level",
    "of_batch",
    "tested_claim",
]
