"""What a keeper reads about a kind of alarm."""

import msgspec


class ConditionWords(msgspec.Struct, frozen=True):
    """
    Words of one kind of alarm, in the keeper's language.

    Attributes:
        title: What it is, in a few words, lower case.
        meaning: One or two sentences on what it says and does not say.
        first_action: What to do first.
        causes: Usual causes, the commonest first.
    """

    title: str
    meaning: str
    first_action: str
    causes: tuple[str, ...] = ()
