"""The converter as a program of its own: pictures in, SVG out, a JSON line each, until its input ends.

A conversion holds the interpreter from its first to its last instruction, and a mark could not be saved meanwhile; so
the server never converts, it asks this program. It is started by its path, with the folder of the fonts, and imports
nothing of ours.
"""

from __future__ import annotations

import json
import sys


def answer(line: bytes) -> dict[str, list[str] | str]:
    """The pictures of one line as SVG, or what is wrong with them. No address is ever read."""
    import vl_convert

    try:
        drawn = [vl_convert.vegalite_to_svg(picture, allowed_base_urls=[]) for picture in json.loads(line)]
    except ValueError as refused:
        return {"refused": str(refused)}
    return {"svg": drawn}


def main() -> None:
    """Answer every line of the input."""
    import vl_convert

    vl_convert.register_font_directory(sys.argv[1])
    for line in sys.stdin.buffer:
        sys.stdout.buffer.write(json.dumps(answer(line)).encode() + b"\n")
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    main()
