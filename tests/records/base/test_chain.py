"""The canonical serialisation, written out by hand: what a base of years ago holds."""

import hashlib
import struct

import pytest

from halfpower.records.base.chain import START, digest, link_hash, mapping_text


def by_hand(*parts: tuple[bytes, bytes]) -> str:
    """Join a letter, the length in eight bytes and the bytes of each; SHA-256."""
    whole = b"".join(
        letter + len(data).to_bytes(8, "little") + data for letter, data in parts
    )
    return hashlib.sha256(whole).hexdigest()


@pytest.mark.parametrize(
    ("value", "letter", "data"),
    [
        (None, b"n", b""),
        (True, b"b", b"1"),
        (False, b"b", b"0"),
        ("µ", b"s", b"\xc2\xb5"),
        ("\udcff", b"s", b"\xed\xb3\xbf"),
        (-12, b"i", b"-12"),
        (0.5, b"f", struct.pack("<Q", 0x3FE0000000000000)),  # IEEE 754, 3.4
        (b"\x00\xff", b"y", b"\x00\xff"),
        (memoryview(b"\x01"), b"y", b"\x01"),
    ],
)
def test_a_value_is_its_letter_its_length_and_its_bytes(
    value: object, letter: bytes, data: bytes
) -> None:
    """As the module says, so that a base of any age and any other program verify."""
    assert digest([value]) == by_hand((letter, data))
    assert digest([value, 7]) == by_hand((letter, data), (b"i", b"7"))


def test_a_value_of_another_type_has_no_serialisation() -> None:
    """Better none than one that another version writes otherwise."""
    with pytest.raises(TypeError, match="list has no canonical"):
        digest([[1]])


def test_a_mapping_s_order_does_not_matter() -> None:
    """Sorted by name, nothing between; so the same circumstances are found again."""
    assert mapping_text({"b": "1", "a": "µ"}) == '{"a":"\\u00b5","b":"1"}'


def test_the_first_link_follows_zeros() -> None:
    """Its hash covers the one before, its number, kind, time and content, in order."""
    link = {"content": "c", "at": "t", "kind": "opened", "number": 1}
    assert link_hash(START, link=link) == by_hand(
        (b"s", b"halfpower.link/1"),
        (b"s", 64 * b"0"),
        (b"i", b"1"),
        *((b"s", text) for text in (b"opened", b"t", b"c")),
    )
