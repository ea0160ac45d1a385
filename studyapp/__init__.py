"""Blind tastings that say when the conche can stop."""
