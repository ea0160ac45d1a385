"""What comes and goes as files: forced-choice answers in, a result as one JSON object out."""
