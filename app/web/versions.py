"""Two versions of one thing beside each other: what was typed, and what is stored by now."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class VersionLine:
    """One field in both versions, spelt."""

    label: str
    yours: str
    stored: str

    @property
    def is_different(self) -> bool:
        """Whether the two say different things."""
        return self.yours.strip() != self.stored.strip()


def compare_versions(
    labels: Mapping[str, str], *, yours: Mapping[str, str], stored: Mapping[str, str]
) -> tuple[VersionLine, ...]:
    """Return one line for each labelled field; a field that is absent counts as empty."""
    return tuple(
        VersionLine(
            label,
            yours=yours.get(name, "").replace("\r\n", "\n"),
            stored=stored.get(name, ""),
        )
        for name, label in labels.items()
    )
