"""How the connection to the broker is."""

import msgspec


class IntakeHealth(msgspec.Struct, frozen=True):
    """
    What can be said of the connection; "connected" is no proof of life (M7).

    Attributes:
        connected: Subscribed to everything, as far as is known.
        draining: What waited at the broker has not been through since the connect.
        connects: Connections so far.
        failed_connects: Attempts that did not become one.
        refused_filters: Filters that the broker would not grant.
        failed_messages: Messages that our own callback could not handle.
        refused_messages: Messages that found the inbox full.
        words: The state in words.
    """

    connected: bool
    draining: bool
    connects: int
    failed_connects: int
    refused_filters: tuple[str, ...]
    failed_messages: int
    refused_messages: int
    words: str

    def counters(self) -> dict[str, int]:
        """What is counted, by the names that `now` shows."""
        return {
            "connects": self.connects,
            "failed_connects": self.failed_connects,
            "refused_filters": len(self.refused_filters),
            "failed_messages": self.failed_messages,
        }
