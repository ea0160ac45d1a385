"""Statistics of tasting panels: pure functions on numbers and data frames.

Imports only numpy, scipy, pandas, statsmodels and pingouin; knows no study, store or screen.
"""
