"""The colours and the typeface of screens, pictures and paper: two themes for screens and one for paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal

from studyapp.assets import FAMILY

Mode = Literal["light", "dark"]
_SCREEN_FONT = f"{FAMILY}, system-ui, sans-serif"


@dataclass(frozen=True, slots=True)
class Theme:
    """One set of colours (hexadecimal sRGB) by what they are for, and the typeface of the words in a picture.

    Contrast was measured for text on page and card: at least 4.5 for text and 3.0 for shapes (WCAG 2.2, 1.4.3 and
    1.4.11), in every theme.
    """

    page: str
    card: str
    field: str
    ink: str
    quiet: str
    edge: str
    rule: str
    patina: str
    patina_text: str
    copper: str
    brick: str
    patina_wash: str
    copper_wash: str
    brick_wash: str
    band: str
    font: str = _SCREEN_FONT

    def colours(self) -> dict[str, str]:
        """The colours by name, without the typeface."""
        return {name: value for name, value in asdict(self).items() if name != "font"}


SCREENS: Mapping[Mode, Theme] = {
    "light": Theme(
        page="#F4F6F5",
        card="#FFFFFF",
        field="#E8ECEA",
        ink="#15211F",
        quiet="#4B5956",
        edge="#71807C",
        rule="#D3DAD7",
        patina="#0A5F5B",
        patina_text="#0A5F5B",
        copper="#8A420E",
        brick="#96202F",
        patina_wash="#DCEBE8",
        copper_wash="#F8E9DC",
        brick_wash="#FAE7E8",
        band="#D5E7E3",
    ),
    "dark": Theme(
        page="#111716",
        card="#1A2221",
        field="#25302E",
        ink="#EDF2F0",
        quiet="#AAB7B3",
        edge="#7F8E8A",
        rule="#313D3A",
        patina="#17807A",
        patina_text="#7CD0C6",
        copper="#F0A96B",
        brick="#F4A0A4",
        patina_wash="#15302D",
        copper_wash="#38260F",
        brick_wash="#3B1A1D",
        band="#1E3D39",
    ),
}
# Black ink. A printer loses a grey lighter than the band, so there is one fill; a zone between stays white and has
# borders and a name. Static TrueType files bear the two subsets of the typeface, under two names.
PAPER = Theme(
    page="#FFFFFF",
    card="#FFFFFF",
    field="#FFFFFF",
    ink="#000000",
    quiet="#4D4D4D",
    edge="#777777",
    rule="#C4C4C4",
    patina="#000000",
    patina_text="#000000",
    copper="#000000",
    brick="#000000",
    patina_wash="#FFFFFF",
    copper_wash="#FFFFFF",
    brick_wash="#FFFFFF",
    band="#DDDDDD",
    font=f"{FAMILY}, {FAMILY} Ext",
)
