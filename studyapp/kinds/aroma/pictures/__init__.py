"""Pictures of forced-choice results, drawn once for screen and paper."""
