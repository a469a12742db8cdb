"""The tree of refusals: a request understood, and declined with a stable code.

Features subclass the kinds below next to the rule that refuses. The kind decides the HTTP status
(in problems.py); the code is for programs; the sentence is for people; the field says where.
"""

from dataclasses import dataclass
from typing import ClassVar


class Refusal(Exception):
    """Something Wickbook will not do; `code` is `feature.reason` and never changes.

    The sentence names what was wrong and what would be right. `field` is the path of the value
    that was refused (`zones.0.time_s`), where there is one.
    """

    code: ClassVar[str]

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field


class Unidentified(Refusal):
    """We do not know who is asking."""


class Forbidden(Refusal):
    """We know who is asking, and they may not."""


class Unknown(Refusal):
    """The thing asked for does not exist."""


class Conflict(Refusal):
    """The thing exists, and its present state forbids it."""


class Stale(Refusal):
    """The thing was changed by somebody else since it was read."""


class Missing(Refusal):
    """A condition that must be stated with the request was not."""


class TooLarge(Refusal):
    """What was sent is larger than the limit that the sentence names."""


class TooSoon(Refusal):
    """The same was tried too often; `wait_s` says how long to wait."""

    def __init__(self, sentence: str, *, wait_s: int, field: str | None = None) -> None:
        super().__init__(sentence, field=field)
        self.wait_s = wait_s


class Unacceptable(Refusal):
    """A value can be read but not accepted."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one value: the field's path and a sentence."""

    field: str
    sentence: str


class Unreadable(Unacceptable):
    """Several values at once cannot be accepted; each fault names its field."""

    code = "core.unreadable"

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        first = faults[0]
        super().__init__("; ".join(f"{f.field}: {f.sentence}" for f in faults), field=first.field)
        self.faults = faults
