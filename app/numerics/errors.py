"""What the numbers refuse: one base, so that a caller can catch them all."""


class NumericsError(ValueError):
    """Base of every refusal in this package; the message is a sentence for a person."""


class MalformedArrays(NumericsError):
    """Arrays that are no trace: unequal lengths, time not rising, wrong type or shape."""


class MalformedTree(NumericsError):
    """A hash that is not 32 bytes, or a size, index or frontier that fits no tree."""


class CorruptSamples(NumericsError):
    """A stored block of samples that is damaged, cut short or of an unknown version."""


class TooManySamples(NumericsError):
    """More columns, rows or bytes than one block of samples may hold."""
