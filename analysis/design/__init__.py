"""Who tastes what, in which order.

The first piece on a tray scores differently by itself, palates tire, and what was tasted before lingers. So every pull
must stand at every place about equally often, and follow every other about equally often: Williams squares for whole
trays, balanced incomplete blocks where there are more pieces than a palate takes, and all sequences of a forced-choice
set used equally. Orders are dealt from a secret seed; the same seed deals the same orders everywhere.

>>> orders = serving_orders(pulls=4, assessors=4, replicates=1, seed=7)
>>> [sorted(order) for order in orders]
[[0, 1, 2, 3], [0, 1, 2, 3], [0, 1, 2, 3], [0, 1, 2, 3]]
>>> sorted(order[0] for order in orders)  # each pull is once the first
[0, 1, 2, 3]
"""

from analysis.design.blocks import servings
from analysis.design.serving import codes, serving_orders, shuffled
from analysis.design.trial_orders import deal

__all__ = [
    "codes",
    "deal",
    "serving_orders",
    "servings",
    "shuffled",
]
