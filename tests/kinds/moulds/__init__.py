"""A third kind of study, for the tests alone: at what temperature of the mould is the piece smoothest?

Cups come one by one; the temperature with the highest mean wins. It is small on purpose and says nothing of its error.
"""
