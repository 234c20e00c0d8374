"""Titles, names and origins are one line of text; all that can be shown in it is allowed."""

import xml.etree.ElementTree as ET

import pytest
from tests_shared import LEAST, small_scenario

from colsim import Container, Scenario, ScenarioError, Spread
from colsim.model.one_line import as_escapes, is_one_line

GOOD = [
    "",
    "can",
    "slim can, 2½ in $5 $",
    "=cmd|' /C calc'!A1",
    "Ж中\u0627\u200f\u200d",
    "\u00a0\u3000",
    "a\\nb",
    "<&>--",
]
BAD = {
    "line break": ("a\nb", r"\n"),
    "carriage return": ("a\rb", r"\r"),
    "tab": ("a\tb", r"\t"),
    "escape sequence": ("a\x1b[31m", r"\x1b"),
    "bell": ("a\x07", r"\x07"),
    "delete": ("a\x7f", r"\x7f"),
    "escape sequence in one byte": ("a\x9b31m", r"\x9b"),
    "next line": ("a\x85", r"\x85"),
    "line separator": ("a\u2028b", r"\u2028"),
    "turned text": ("a\u202egnp.b", r"\u202e"),
    "isolate": ("a\u2066b", r"\u2066"),
    "half a pair": ("a\ud800", r"\ud800"),
    "no character": ("a\uffff", r"\uffff"),
    "no character beyond": ("a\U0001fffe", r"\U0001fffe"),
    "zero": ("a\0", r"\x00"),
}
RANGE = {"kind": "unknown", "low": 0.2, "high": 0.4}


@pytest.mark.parametrize("text", GOOD)
def test_what_can_be_shown_is_allowed(text):
    assert is_one_line(text)
    assert as_escapes(text) == text
    assert small_scenario(title=text, **{"container.name": text}).title == text


@pytest.mark.parametrize(("text", "shown"), BAD.values(), ids=BAD)
@pytest.mark.parametrize("path", ["title", "container.name", "column.wall_friction.origin"])
def test_what_cannot_is_refused_with_what_it_got_what_is_allowed_and_what_to_do(path, text, shown):
    changes = {"column.wall_friction": {**RANGE, "origin": text}} if path.endswith("origin") else {path: text}
    with pytest.raises(ScenarioError) as caught:
        small_scenario(**changes)
    said = str(caught.value)
    assert said.startswith(f'{path}: got "a')
    assert f'", with {shown} at place 2; allowed: one line of text without control characters; take that out' in said
    assert is_one_line(said)
    assert as_escapes(text) in said


@pytest.mark.parametrize(("text", "shown"), BAD.values(), ids=BAD)
def test_so_are_the_names_of_several_containers(text, shown):
    data = small_scenario().as_given()
    del data["container"]
    with pytest.raises(ScenarioError) as caught:
        Scenario(**{**data, "containers": {text: LEAST[Container]}})
    if "." not in text:
        assert str(caught.value) == (
            f"containers.{as_escapes(text)}: got a name with a control character; allowed: one line of text without; "
            "take it out"
        )
    assert is_one_line(str(caught.value))


def test_an_origin_given_in_python_is_checked_as_well():
    with pytest.raises(ScenarioError, match=r"^origin: got 5; allowed: text$"):
        Spread(**RANGE, origin=5)
    with pytest.raises(ScenarioError, match=r"^origin: got .* with .x1b at place 1; allowed: one line"):
        Spread(**RANGE, origin="\x1b")


def test_every_character_that_is_allowed_may_stand_in_xml_and_utf_8():
    allowed = "".join(chr(k) for k in range(0x110000) if is_one_line(chr(k)))
    assert len(allowed) > 1_100_000
    assert all(is_one_line(chr(k)) for k in range(0x20, 0x7F))
    escaped = allowed.replace("&", "").replace("<", "")
    assert ET.fromstring(f"<a>{escaped}</a>".encode()).text == escaped
