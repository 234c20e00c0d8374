"""Scenarios as TOML text: read as people save it, and written so that it reads the same."""

import tomllib

import numpy as np
import pytest
from tests_shared import LEAST, ROOT, ROTOR, small_scenario

from colsim import CATALOGUE, Container, Scenario, ScenarioError

TEXT = """
[container]
like = "12 fl oz can"
[column]
width = 90
height = "3 ft"
wall_friction = 0.2
[rotor]
radius = 95
pockets = 1
pocket_width = 82
pocket_depth = 80
[loading]
count = 4
"""


@pytest.fixture
def scenario():
    return Scenario.from_toml_text(TEXT)


def test_text_is_read_as_the_file_that_holds_it(tmp_path, scenario):
    path = tmp_path / "column.toml"
    path.write_text(TEXT, encoding="utf-8")
    assert Scenario.from_toml(path) == Scenario.from_toml(str(path)) == scenario
    assert scenario.column.height == 914.4


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_file_with_a_byte_order_mark_is_read(tmp_path, scenario, ends):
    path = tmp_path / "column.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", ends).encode())
    assert Scenario.from_toml(path) == scenario
    assert Scenario.from_toml_text("\ufeff" + TEXT) == scenario


def test_a_file_in_utf_16_is_refused_with_what_to_do(tmp_path):
    path = tmp_path / "column.toml"
    path.write_text(TEXT, encoding="utf-16")
    with pytest.raises(ScenarioError, match=r"column\.toml: is not a text file in UTF-8; .*save it as UTF-8"):
        Scenario.from_toml(path)


QUOTES = 'put text and measurements with units in quotes, as in "2.6 in"'


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("66 mm", QUOTES),
        ("2 9/16 in", QUOTES),
        ("2-9/16", QUOTES),
        ("½ in", QUOTES),
        ("wide", QUOTES),
        ("66,5", "write a decimal point"),
        ('"2 9/16""', "put text that holds an inch sign in single quotes, as in '2 9/16\"', or write in"),
        ("90\nwidth = 80", "each key and each [table] may stand once: leave one out"),
        ("= 90", None),
        ("1.2.3", None),
        ('"90', None),
        ('"2,5" 3', None),
    ],
)
def test_what_is_no_toml_is_answered_with_a_hint_where_the_line_shows_one(written, hint):
    with pytest.raises(ScenarioError) as caught:
        Scenario.from_toml_text(TEXT.replace("width = 90", f"width = {written}"))
    message = str(caught.value)
    assert message.startswith("is not TOML: ")
    assert message.endswith(f"); {hint}" if hint else ")")


@pytest.mark.parametrize("path", sorted(ROOT.glob("examples/*.toml")), ids=lambda path: path.stem)
def test_an_example_comes_back_from_what_is_written(path):
    scenario = Scenario.from_toml(path)
    again = Scenario.from_toml_text(scenario.to_toml())
    assert again == scenario
    assert again.unknowns() == scenario.unknowns()
    assert again.assumed() == scenario.assumed()
    assert again.to_toml() == scenario.to_toml()


@pytest.mark.parametrize("name", CATALOGUE)
def test_what_the_catalogue_gives_is_not_written(name):
    scenario = small_scenario(2, container={"like": name, "friction": 0.3})
    assert tomllib.loads(scenario.to_toml())["container"] == {"like": name, "friction": 0.3}
    assert Scenario.from_toml_text(scenario.to_toml()) == scenario


def test_each_number_stands_beside_its_unit(scenario):
    lines = scenario.changed(**{"on_hand.spacers": ["6 mm"], "conditions.service_temperature": "41 F"}).to_toml()
    for line in ("height = 914.4  # mm", "pockets = 1", "spacers = [6.0]  # mm", "service_temperature = 5.0  # C"):
        assert line in lines.splitlines()


@pytest.mark.parametrize(
    "name", ["can", "slim can", 'a "quoted" one', "ünïcode ½", "back\\slash", "=1+$x^2$ <&> 'q'", "\u200d\U0001f964"]
)
def test_any_name_comes_back(name):
    kinds = {name: LEAST[Container], "other": {**LEAST[Container], "name": name}}
    layers = [{"container": name, "count": 1}, {"container": "other", "count": 2}]
    scenario = Scenario(
        title=name,
        containers=kinds,
        column={"width": 90, "height": 900, "wall_friction": 0.2},
        rotor=ROTOR,
        loading={"layers": layers},
    )
    assert Scenario.from_toml_text(scenario.to_toml()) == scenario


def test_what_was_left_open_or_empty_comes_back_as_that():
    data = small_scenario(2).as_given() | {"conditions": {}, "containers": {}, "on_hand": {"spacers": []}}
    data["column"] |= {"throat": None, "liners": ()}
    scenario = Scenario(**data)
    assert Scenario.from_toml_text(scenario.to_toml()) == scenario


def test_in_a_notebook_it_is_shown_as_it_is_written():
    html = small_scenario(2, title="a < b")._repr_html_()
    assert html.startswith("<pre>")
    assert "a &lt; b" in html
    assert "width = 90.0  # mm" in html


@pytest.mark.parametrize("bad", [5, None, b"x", ["a"]])
def test_what_is_no_path_or_no_text_is_refused_by_an_error_of_ours(bad):
    with pytest.raises(ScenarioError, match=r"^path: got .*; allowed: the path of a scenario file"):
        Scenario.from_toml(bad)
    with pytest.raises(ScenarioError, match=r"^text: got .*; allowed: the text of a scenario file"):
        Scenario.from_toml_text(bad)


def test_a_path_that_no_system_takes_is_refused_by_an_error_of_ours():
    with pytest.raises(ScenarioError, match="cannot be read"):
        Scenario.from_toml("a\0b.toml")


def test_numpy_is_written_as_plain_numbers():
    scenario = small_scenario(np.int64(2), **{"column.width": np.float32(90), "on_hand.spacers": np.array([6, 12])})
    assert tomllib.loads(scenario.to_toml())["on_hand"] == {"spacers": [6.0, 12.0]}
    assert scenario == small_scenario(2, **{"column.width": 90, "on_hand.spacers": [6, 12]})
