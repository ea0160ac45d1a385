"""`studyapp run`: serve this workshop until Ctrl-C."""

from __future__ import annotations

import click


@click.command()
@click.option("--demo", is_flag=True, help="Show an invented workshop; nothing is kept.")
@click.option("--store", "store_url", metavar="URL", help="A file, sqlite:///FILE or postgresql://...")
@click.option("--host", default="0.0.0.0", show_default=True, help="Address to listen on.")
@click.option("--port", default=8501, show_default=True, type=click.IntRange(0, 65535), help="0 takes a free one.")
def run(demo: bool, store_url: str | None, host: str, port: int) -> None:
    """Start the app for this network."""
    from studyapp.server import serve

    serve(store_url, host, port, demo)
