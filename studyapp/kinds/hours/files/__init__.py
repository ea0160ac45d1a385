"""What comes and goes as files: a rule, scores that were tasted elsewhere, a decision as one JSON object."""
