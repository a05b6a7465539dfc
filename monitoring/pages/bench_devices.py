"""Say of each device of the bench what it held when it was last heard of."""

from dataclasses import dataclass
from typing import Any

from blocks.access import Member
from monitoring.bench.clocks import clock_words
from monitoring.queries.bench import devices_of


@dataclass(frozen=True, slots=True)
class DeviceLine:
    """A device with what is missing of it, and whether its clock errs, in words."""

    device: Any
    clock: str


def device_lines(member: Member) -> list[DeviceLine]:
    """List the group's devices, the one heard of last first; 1 query."""
    return [
        DeviceLine(device=device, clock=clock_words(device.clock_ahead_s))
        for device in devices_of(member)
    ]
