"""What only the browser tests need: a line to the server that can be cut, and hands for the ballot."""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any, Literal

import pytest


class Line:
    """A TCP proxy in a thread. `pass` forwards; `hole` swallows both ways in silence; `cut` closes and refuses."""

    def __init__(self, target: int) -> None:
        self.target = target
        self.mode: Literal["pass", "hole", "cut"] = "pass"
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self.listener.getsockname()[1])
        self.url = f"http://127.0.0.1:{self.port}"
        self.events = selectors.DefaultSelector()
        self.events.register(self.listener, selectors.EVENT_READ)
        self.pairs: dict[socket.socket, socket.socket] = {}
        self.running = True
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def set(self, mode: Literal["pass", "hole", "cut"]) -> None:
        """Change what happens to the bytes; `cut` also ends every open connection."""
        self.mode = mode

    def _run(self) -> None:
        while self.running:
            for key, _mask in self.events.select(0.02):
                if key.fileobj is self.listener:
                    self._accept()
                else:
                    self._move(key.fileobj)
            if self.mode == "cut":
                for end in list(self.pairs):
                    self._drop(end)

    def _accept(self) -> None:
        near, _address = self.listener.accept()
        if self.mode == "cut":
            near.close()
            return
        try:
            far = socket.create_connection(("127.0.0.1", self.target), 2)
        except OSError:
            near.close()
            return
        for end, other in ((near, far), (far, near)):
            self.pairs[end] = other
            self.events.register(end, selectors.EVENT_READ)

    def _move(self, end: Any) -> None:
        if end not in self.pairs:
            return
        try:
            data = end.recv(65536)
            if not data:
                raise ConnectionResetError
            if self.mode == "pass":
                self.pairs[end].sendall(data)
        except OSError:
            self._drop(end)

    def _drop(self, end: socket.socket) -> None:
        for each in (end, self.pairs.get(end)):
            if each is not None and self.pairs.pop(each, None) is not None:
                with contextlib.suppress(KeyError, ValueError):
                    self.events.unregister(each)
                each.close()

    def close(self) -> None:
        """End the thread and every connection."""
        self.running = False
        self.thread.join(5)
        for end in list(self.pairs):
            self._drop(end)
        self.listener.close()
        self.events.close()


@pytest.fixture
def line(server: Any) -> Iterator[Line]:
    """A line to the server that can be cut."""
    made = Line(server.port)
    yield made
    made.close()


class Hands:
    """An assessor's hands on a page."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def touch(self, name: str, share: float) -> None:
        """Touch a line scale at a share of its length, as soon as it stands still and nothing lies over it."""
        lane = self.page.get_by_role("slider", name=name)
        size = lane.bounding_box()
        lane.click(position={"x": 23 + share * (size["width"] - 46), "y": size["height"] / 2})

    def press(self, name: str) -> None:
        """Press a button."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def see(self, text: str) -> None:
        """Wait until a text is there, and until a serving that leaves, which stands beside it for a moment, is gone."""
        self.page.get_by_text(text).first.wait_for(timeout=60000)
        self.page.locator(".page").nth(1).wait_for(state="detached", timeout=60000)

    def start(self, address: str) -> None:
        """Open the link, read, agree and pass the warm-up cup."""
        self.page.goto(address)
        self.press("I have read this, start")
        self.see("To warm up. Take cup")
        self.press("Next serving")
        self.see("Serving 1 of 3. Take cup")

    def code(self) -> str:
        """The code on the page."""
        return str(self.page.locator(".code").inner_text())

    def mark_all(self, share: float = 0.5) -> None:
        """Touch every line and wait until all is saved."""
        for name in LINES:
            self.touch(name, share)
        self.saved()

    def saved(self) -> None:
        """Wait until the page says saved."""
        self.page.locator(".kept", has_text="saved").wait_for(timeout=60000)

    def sent(self) -> str:
        """All that the page holds: its frame and the inside of every serving that stands in it."""
        insides = self.page.locator(".page").evaluate_all("all => all.map(one => one.innerHTML)")
        return "\n".join([self.page.content(), *insides])

    def wait(self, milliseconds: int) -> None:
        """Let time pass in the browser."""
        self.page.wait_for_timeout(milliseconds)


LINES = ("Acidity", "Bitterness", "Astringency")


@pytest.fixture
def hands(phone: Callable[..., tuple[Any, Any]]) -> Callable[..., tuple[Hands, Any]]:
    """Make a phone with hands; gives the hands and what the phone hears."""

    def make(*arguments: Any, **more: Any) -> tuple[Hands, Any]:
        page, heard = phone(*arguments, **more)
        return Hands(page), heard

    return make
