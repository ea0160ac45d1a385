"""Pictures of results, drawn once: a function takes a result and a theme and returns a Vega-Lite specification.

The screen hands it to the browser; `paper` turns the same one into an SVG for the typesetter. Colours and
typeface come from `theme`, the signs and axes that all pictures share from `marks`. A disc says that something was
shown, a cross that it was not, a diamond stands at the answer: shape and word carry the meaning, colour only helps.

Nothing is imported here, so that the colours can be read without the rest.
"""
