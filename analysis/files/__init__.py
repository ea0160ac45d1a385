"""From the files that people have to tables the statistics can trust.

A workshop brings scores in whatever it wrote them into: a spreadsheet, a text file with commas or semicolons, decimal
commas, a column an attribute or a row a score. `read_scores` makes one tidy table of it, a row a score, or says in one
sentence which file, row and column stands in the way and what to write instead. Nothing is guessed that could be asked,
and nothing is dropped without a word. Answers of forced-choice trials, a row a trial, are read in the same
way, and so are readings of instruments, a row a repeat.

>>> table = scores_from("scores.csv", b"assessor,hours,acidity\\nWren,0,6.5\\nWren,24,3.5\\n")
>>> table[["assessor", "hours", "attribute", "score"]].values.tolist()
[['Wren', 0.0, 'acidity', 6.5], ['Wren', 24.0, 'acidity', 3.5]]
>>> scores_from("scores.csv", b"assessor,hours,acidity\\nWren,0,six\\n")
Traceback (most recent call last):
    ...
analysis.files.score_files.ScoreError: scores.csv, row 2, column acidity: "six" is not a number; write 6.
"""

from analysis.files.answers import Answers, read_answers, read_batches, read_doses
from analysis.files.readings import read_readings, readings_from
from analysis.files.score_files import ScoreError
from analysis.files.scores import read_scores, scores_from

__all__ = [
    "Answers",
    "ScoreError",
    "read_answers",
    "read_batches",
    "read_doses",
    "read_readings",
    "read_scores",
    "readings_from",
    "scores_from",
]
