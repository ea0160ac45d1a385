"""What is kept of the device that opens a link: enough to see two links on one device, and nothing else of it."""

from __future__ import annotations

from dataclasses import dataclass

from studyapp.store import events

# What a browser calls the system it runs on, the first that fits; no version, no model.
SYSTEMS = ("iPhone", "iPad", "Android", "Windows", "Mac OS", "Linux")


@dataclass(frozen=True, slots=True)
class Device:
    """A browser as a join link meets it: the random mark it carries, and what it says of itself."""

    mark: str = ""
    agent: str = ""

    def told(self, study: str) -> dict[str, str]:
        """What an event keeps: the mark hashed for one study alone, so that no device is followed from study to study,
        and the system by name."""
        system = next((name for name in SYSTEMS if name in self.agent), "")
        found = {"device": events.salted(study, self.mark)[:16] if self.mark else "", "system": system}
        return {name: value for name, value in found.items() if value}


UNKNOWN = Device()
