"""Small integers as bytes, written and read back without ever trusting the bytes."""

from app.numerics.errors import CorruptSamples

_MORE = 0x80
_LONGEST_VARINT = 10


def spell_varint(number: int) -> bytes:
    """Spell an integer from 0 to 2^64 - 1 as bytes of 7 bits each, lowest first."""
    spelt = bytearray()
    while number >= _MORE:
        spelt.append(number & (_MORE - 1) | _MORE)
        number >>= 7
    spelt.append(number)
    return bytes(spelt)


def spell_signed(number: int) -> bytes:
    """Spell an integer from -2^63 to 2^63 - 1: zigzag, then varint."""
    return spell_varint(number * 2 if number >= 0 else -number * 2 - 1)


class ByteReader:
    """Reads bytes from the front; everything short or too long raises CorruptSamples."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        """Take exactly `count` bytes."""
        end = self._at + count
        if end > len(self._data):
            raise CorruptSamples("The block of samples is cut short.")
        taken, self._at = self._data[self._at : end], end
        return taken

    def take_byte(self) -> int:
        """Take one byte as an integer from 0 to 255."""
        return self.take(1)[0]

    def take_varint(self, *, limit: int) -> int:
        """Take an integer as spelt by spell_varint, refusing one above `limit`."""
        number = 0
        for place in range(_LONGEST_VARINT):
            byte = self.take_byte()
            number |= (byte & (_MORE - 1)) << (7 * place)
            if byte < _MORE:
                break
        else:
            raise CorruptSamples("The block of samples holds a number without an end.")
        if number > limit:
            raise CorruptSamples(f"The block of samples holds {number} where {limit} is the most.")
        return number

    def take_signed(self) -> int:
        """Take an integer as spelt by spell_signed."""
        number = self.take_varint(limit=2**64 - 1)
        return -(number // 2) - 1 if number & 1 else number // 2

    def take_rest(self) -> bytes:
        """Take whatever is left."""
        return self.take(len(self._data) - self._at)

    def check_end(self) -> None:
        """Refuse bytes that nobody asked for."""
        if self._at != len(self._data):
            raise CorruptSamples("The block of samples has bytes after its end.")
