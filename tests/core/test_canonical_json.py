"""One value has one spelling: RFC 8785's own vectors, and what cannot be spelt in one way.

The documents are the author's test data: cyberphone/json-canonicalization, commit 19d51d7, testdata
(Apache-2.0). The numbers are RFC 8785's Appendix B.
"""

import json
import struct
from hashlib import sha256
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.canonical_json import JsonValue, compute_digest, spell_canonical_json

STRUCTURES = r"""{
  "1": {"f": {"f": "hi","F": 5} ,"\n": 56.0},
  "10": { },
  "": "empty",
  "a": { },
  "111": [ {"e": "yes","E": "no" } ],
  "A": { }
}"""
FRENCH = """{
  "peach": "This sorting order",
  "péché": "is wrong according to French",
  "pêche": "but canonicalization MUST",
  "sin":   "ignore locale"
}"""
VALUES = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
WEIRD = r"""{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\u000a": "Newline",
  "1": "One",
  "\u0080": "Control\u007f",
  "\ud83d\ude02": "Smiley",
  "\u00f6": "Latin Small Letter O With Diaeresis",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "</script>": "Browser Challenge"
}"""

# Name, document, canonical spelling. `arrays` stands in an object below: only objects are hashed.
DOCUMENTS = [
    (
        "french",
        FRENCH,
        (
            '{"peach":"This sorting order","péché":"is wrong according to French",'
            '"pêche":"but canonicalization MUST","sin":"ignore locale"}'
        ),
    ),
    (
        "structures",
        STRUCTURES,
        (
            r'{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},'
            r'"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}'
        ),
    ),
    (
        "unicode",
        r'{"Unnormalized Unicode":"A\u030a"}',
        '{"Unnormalized Unicode":"A\u030a"}',
    ),
    (
        "values",
        VALUES,
        (
            r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            r""""string":"€$\u000f\nA'B\"\\\\\"/"}"""
        ),
    ),
    (
        "weird",
        WEIRD,
        (
            r'{"\n":"Newline","\r":"Carriage Return","1":"One","</script>":"Browser Challenge",'
            '"\u0080":"Control\u007f","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign",'
            '"\U0001f602":"Smiley","\ufb33":"Hebrew Letter Dalet With Dagesh"}'
        ),
    ),
]
# SHA-256 of the published outputs, taken over their bytes.
DIGESTS = {
    "french": "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5",
    "structures": "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
    "unicode": "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
    "values": "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb",
    "weird": "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1",
}

# The bits of an IEEE 754 double, and how JSON spells it.
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]

# Floats below the size at which JSON spells them as integers that Python reads as such.
numbers = st.floats(allow_nan=False, allow_infinity=False).filter(lambda x: not abs(x) >= 2**53)
leaves = (
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | numbers
    | st.text(st.characters(codec="utf-8"))
)
names = st.text(st.characters(codec="utf-8"), max_size=8)
objects: st.SearchStrategy[dict[str, JsonValue]] = st.dictionaries(
    names,
    st.recursive(leaves, lambda inner: st.lists(inner) | st.dictionaries(names, inner)),
)


@pytest.mark.parametrize(
    ("name", "document", "spelt"), DOCUMENTS, ids=[name for name, _, _ in DOCUMENTS]
)
def test_a_published_document_is_spelt_as_published(name: str, document: str, spelt: str) -> None:
    assert spell_canonical_json(json.loads(document)) == spelt.encode()
    assert compute_digest(json.loads(document)) == DIGESTS[name]
    assert sha256(spelt.encode()).hexdigest() == DIGESTS[name]


def test_the_published_array_is_spelt_as_published() -> None:
    array = json.loads('[\n  56,\n  {\n    "d": true,\n    "10": null,\n    "1": [ ]\n  }\n]\n')
    assert spell_canonical_json({"a": array}) == b'{"a":[56,{"1":[],"10":null,"d":true}]}'


@pytest.mark.parametrize(("bits", "spelt"), NUMBERS)
def test_a_number_of_appendix_b_is_spelt_as_published(bits: str, spelt: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert spell_canonical_json({"n": number}) == b'{"n":%s}' % spelt.encode()


@pytest.mark.parametrize(
    "value",
    [
        float("nan"),
        float("inf"),
        float("-inf"),
        2**53,
        -(2**53),
        10**400,
        "\ud800",
        "before \udfff after",
        {"\ud83d": 1},
    ],
    ids=repr,
)
@pytest.mark.parametrize("depth", [0, 2])
def test_what_has_no_single_spelling_is_refused(value: JsonValue, depth: int) -> None:
    for _ in range(depth):
        value = [value]
    with pytest.raises(ValueError, match=r".+"):
        spell_canonical_json({"value": value})


def test_the_largest_exact_integers_are_let_in() -> None:
    edge = 2**53 - 1
    assert spell_canonical_json({"n": [edge, -edge]}) == (
        b'{"n":[9007199254740991,-9007199254740991]}'
    )


@given(objects)
def test_what_is_spelt_reads_back_the_same_and_is_spelt_the_same_again(
    value: dict[str, JsonValue],
) -> None:
    spelt = spell_canonical_json(value)
    read = json.loads(spelt)
    assert read == value
    assert spell_canonical_json(read) == spelt


@given(objects, st.randoms(use_true_random=False))
def test_the_order_in_which_names_were_given_does_not_show(
    value: dict[str, JsonValue], random: Random
) -> None:
    names_of_value = list(value)
    random.shuffle(names_of_value)
    assert spell_canonical_json({name: value[name] for name in names_of_value}) == (
        spell_canonical_json(value)
    )
