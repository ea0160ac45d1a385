"""One folder a kind of study. Nothing outside imports one: `studyapp.registry` is asked for their parts."""
