"""Counts of two groups with and without an event."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoGroups:
    """Events and number in the exposed (first) and the reference (second) group."""

    events: int
    n: int
    reference_events: int
    reference_n: int

    def __post_init__(self) -> None:
        pairs = ((self.events, self.n), (self.reference_events, self.reference_n))
        for events, n in pairs:
            if n < 1 or not 0 <= events <= n:
                raise ValueError(f"each group needs 0 <= events <= n and n >= 1, got {events}/{n}")

    @property
    def shares(self) -> tuple[float, float]:
        """Proportion with the event among the exposed and in the reference group."""
        return self.events / self.n, self.reference_events / self.reference_n
