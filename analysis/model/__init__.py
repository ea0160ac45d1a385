"""What the scores say about pulls and people: a mixed model fitted by restricted maximum likelihood.

Score = pull + assessor + assessor x pull + error, perhaps with the place on the tray (fixed) or the sitting (random).
People differ in how high they score and in how they see each pull; both are random here, so that a difference of two
pulls carries the error of another panel of such people. `fit` takes a data frame. Underneath, `Scores` are one array,
study x assessor x pull x sitting x serving, for a file as for ten thousand simulated studies: of it come the cells
(assessor x pull: count, sum, squares within), and whether and how the place is taken out. A whole batch of panels is
fitted at once: in closed form where nothing is missing, by Newton steps on weighted sums where something is, with
penalised columns where a factor crosses the assessors (`fuller`). All routes give the same numbers. `contrasts` have
Satterthwaite degrees of freedom; `cluster_robust` asks the same of the assessors alone.

>>> import pandas as pd
>>> data = pd.DataFrame(
...     [
...         (a, h, 4 + 0.3 * a - h + 0.1 * ((7 * a + 5 * h + 3 * r) % 4))
...         for a in range(6) for h in (0, 1) for r in (0, 1)
...     ],
...     columns=["assessor", "hours", "score"],
... )
>>> found = fit(data, "score", ["hours"], ["assessor", "assessor:hours"])
>>> sorted(found.variance)
['assessor', 'assessor:hours', 'residual']
>>> bool(found.anova.p < 0.001)
True
"""

from analysis.model.cell_fits import CellFits, fit_cells
from analysis.model.cells import Cells
from analysis.model.mixed import MixedFit, fit
from analysis.model.scores import Scores, cells_of

__all__ = [
    "CellFits",
    "Cells",
    "MixedFit",
    "Scores",
    "cells_of",
    "fit",
    "fit_cells",
]
