"""Comparisons that come as files, and the verdict as one JSON object."""
