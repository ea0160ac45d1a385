"""What can a panel show before it tastes, and what would one more sitting settle?

Studies are drawn from a scenario as a workshop might score them (`simulation`), and judged by the very rule that will
decide (`many_studies`, `look_batches`): the share that ends in each verdict is what a plan can show
(`operating_characteristics`). After "cannot tell", truths are drawn that the scores leave likely, new sittings from
these, and the whole rule over both: the price of an answer (`price`). Spreads come from the panel's own earlier studies
where there are some (`pooled_spreads`), else they are assumed, and said to be.

>>> hours = (0.0, 8.0, 16.0, 24.0)
>>> truth = Scenario(hours, {"acidity": AttributeTruth((7.0, 3.5, 3.5, 3.5), assessor=0.5, interaction=0.2, error=0.5)})
>>> from analysis.stopping import AttributeRule, Rule
>>> rule = Rule({"acidity": AttributeRule("lower", 1.0)}, control=0.0)
>>> found = operating_characteristics(truth, rule, Design(assessors=8, replicates=2), studies=200, seed=1)
>>> found.stop[8.0] > 0.9, found.too_early
(True, 0.0)
"""

from analysis.planning.drawn_readings import GateTruth, usual_readings
from analysis.planning.more_batches import price_batches
from analysis.planning.next_sittings import Anew, Service
from analysis.planning.operating_characteristics import (
    OperatingCharacteristics,
    growing_characteristics,
    operating_characteristics,
)
from analysis.planning.pooled_spreads import (
    PooledSpreads,
    Spread,
    Strata,
    added_up,
    of_one_panel,
    spreads_of,
    strata_of,
)
from analysis.planning.price import Offer, price, price_new_study
from analysis.planning.simulation import AttributeTruth, Design, Scenario

__all__ = [
    "Anew",
    "AttributeTruth",
    "Design",
    "GateTruth",
    "Offer",
    "OperatingCharacteristics",
    "PooledSpreads",
    "Scenario",
    "Service",
    "Spread",
    "Strata",
    "added_up",
    "growing_characteristics",
    "of_one_panel",
    "operating_characteristics",
    "price",
    "price_batches",
    "price_new_study",
    "spreads_of",
    "strata_of",
    "usual_readings",
]
