"""Changed copies, assumed values, names of the catalogue, files and errors."""

import pickle

import pytest

from colsim import (
    CATALOGUE,
    ColsimError,
    OutputError,
    RangeError,
    Scenario,
    ScenarioError,
    SimulationError,
)

BASE = {
    "container": {"diameter": 66, "mass": 0.54},
    "column": {"width": 90, "height": 900, "wall_friction": 0.2},
    "rotor": {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80},
    "loading": {"count": 4},
}


@pytest.fixture
def scenario():
    return Scenario(**BASE)


@pytest.mark.parametrize(
    ("path", "given", "kept"),
    [
        ("rotor.spacer_thickness", 12, 12.0),
        ("rotor.spacer_thickness", "1/8 in", 3.175),
        ("container.mass", "18 oz", 18 * 0.45359237 / 16),
        ("loading.count", 7, 7),
        ("loading.pattern", "random", "random"),
        ("target.confidence", 0.9, 0.9),
        ("title", "other", "other"),
    ],
)
def test_changed_gives_a_copy_and_leaves_the_original(scenario, path, given, kept):
    before = scenario.model_dump()
    changed = scenario.changed(**{path: given})
    value = changed
    for name in path.split("."):
        value = getattr(value, name)
    assert value == (pytest.approx(kept, rel=1e-15) if isinstance(kept, float) else kept)
    assert changed != scenario
    assert scenario.model_dump() == before == Scenario(**BASE).model_dump()


def test_a_whole_part_can_be_changed(scenario):
    rotor = {"radius": 100, "pockets": 2, "pocket_width": "84 mm", "pocket_depth": 80}
    changed = scenario.changed(rotor=rotor)
    assert (changed.rotor.radius, changed.rotor.pocket_width, changed.rotor.pockets) == (100, 84, 2)
    assert scenario.changed(rotor=changed.rotor) == changed


def test_several_changes_are_checked_together(scenario):
    both = {"column.throat": 80, "column.floor_slope": "50 deg", "column.throat_radius": 2}
    assert scenario.changed(**both).column.throat_width == 80
    with pytest.raises(ScenarioError, match="floor_slope is missing"):
        scenario.changed(**{"column.throat": 80})


def test_no_change_gives_the_same(scenario):
    assert scenario.changed() == scenario


def test_changed_keeps_what_was_assumed_apart_from_what_was_given(scenario):
    changed = scenario.changed(**{"rotor.speed": 45})
    assert "rotor.speed" in scenario.assumed()
    assert "rotor.speed" not in changed.assumed()
    assert set(scenario.assumed()) - set(changed.assumed()) == {"rotor.speed"}


@pytest.mark.parametrize(
    ("path", "answer"),
    [
        ("rotor.spacer_thicknes", 'did you mean "spacer_thickness"?'),
        ("rotr.speed", 'did you mean "rotor"?'),
        ("rotor.zzzz", "known: radius, pockets"),
        ("", "known: title, container"),
        ("rotor.", "known: radius"),
        ("rotor.radius.mm", "it goes too deep"),
        ("title.text", "it goes too deep"),
        ("container.friction.low", "it goes too deep"),
        ("column.liners.0.friction", "there is none"),
        ("loading.layers.0.count", "there is none"),
        ("containers.can.diameter", "there is none"),
    ],
)
def test_an_unknown_path_is_refused_with_the_nearest(scenario, path, answer):
    with pytest.raises(ScenarioError) as caught:
        scenario.changed(**{path: 1})
    assert str(caught.value) == f'unknown path "{path}": {answer}' or str(caught.value).startswith(
        f'unknown path "{path}": {answer},'
    )


@pytest.mark.parametrize(
    ("path", "bad", "said"),
    [
        ("rotor.spacer_thickness", -1, r"^rotor\.spacer_thickness: got -1\.0; allowed: at least 0"),
        ("rotor.spacer_thickness", 80, r"fills the whole pocket"),
        ("rotor.speed", "66,5 rpm", r"^rotor\.speed: got .* write a decimal point"),
        ("loading.count", 40, r"^loading\.count: got 40; at most 15 fit"),
        ("rotor", 5, r"^rotor: got 5"),
    ],
)
def test_a_changed_value_is_checked_like_any_other(scenario, path, bad, said):
    with pytest.raises(ScenarioError, match=said):
        scenario.changed(**{path: bad})


def test_assumed_is_exactly_what_was_not_given(scenario):
    assumed = scenario.assumed()
    given = {f"{part}.{name}" for part, values in BASE.items() for name in values}
    everything = {"title", "containers"} | {
        f"{part}.{name}"
        for part in ("container", "column", "rotor", "loading", "conditions", "on_hand", "target")
        for name in type(getattr(scenario, part)).model_fields
    }
    # Of its stiffness nothing is known: it is unknown over a range, and no number is assumed.
    assert set(assumed) == everything - given - {"container.stiffness"}
    assert "container.stiffness" in scenario.unknowns()
    assert (assumed["rotor.speed"], assumed["container.friction"], assumed["column.lean"]) == (45, 0.25, 0)


def test_what_the_catalogue_gives_is_not_assumed():
    assumed = Scenario(**{**BASE, "container": "12 fl oz can"}).assumed()
    assert "container.length" not in assumed
    assert "container.friction" in assumed


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_entry_by_its_name_and_by_like(name):
    by_name = Scenario(**{**BASE, "container": name}).container
    by_like = Scenario(**{**BASE, "container": {"like": name}}).container
    assert by_name == by_like
    assert by_name.name == name
    assert {field: getattr(by_name, field) for field in CATALOGUE[name].figures} == {
        field: figure.value for field, figure in CATALOGUE[name].figures.items()
    }


def test_like_gives_what_is_not_written():
    own = {"like": "500 ml still water", "diameter": "2 9/16 in", "name": "mine"}
    container = Scenario(**{**BASE, "container": own}).container
    assert (container.diameter, container.name) == (65.0875, "mine")
    assert (container.mass, container.length) == (0.515, 205)


@pytest.mark.parametrize("container", ["12 fl oz cann", {"like": "12 fl oz cann"}])
def test_a_name_that_is_not_in_the_catalogue_is_answered_with_the_nearest(container):
    with pytest.raises(ScenarioError, match=r'^container\.like: got "12 fl oz cann".*did you mean "12 fl oz can"\?'):
        Scenario(**{**BASE, "container": container})


def test_changing_to_another_entry_takes_its_sizes(scenario):
    can = scenario.changed(container="12 fl oz can")
    assert can.container.diameter == 66.1
    assert can.changed(container="591 ml carbonated").container.diameter == 73
    assert can.changed(**{"container.diameter": 66.3}).container.mass == 0.385


def test_changing_like_takes_the_sizes_that_came_from_the_catalogue():
    can = Scenario(**{**BASE, "container": "12 fl oz can"})
    container = can.changed(**{"container.like": "591 ml carbonated"}).container
    assert (container.name, container.diameter, container.mass) == ("591 ml carbonated", 73, 0.64)


def test_an_entry_and_a_change_of_it_together(scenario):
    changed = scenario.changed(**{"container": "12 fl oz can", "container.diameter": 67})
    assert (changed.container.diameter, changed.container.mass) == (67, 0.385)


def test_the_catalogue_cannot_be_changed():
    with pytest.raises(TypeError):
        CATALOGUE["mine"] = CATALOGUE["12 fl oz can"]
    with pytest.raises(TypeError):
        CATALOGUE["12 fl oz can"].figures["mass"] = None


def test_a_scenario_comes_back_from_its_dump_and_its_pickle(scenario):
    # A dump holds numbers, so it knows no range that stands in for one: here all such are measured.
    measured = {"rotor.speed": "30 rpm", "container.stiffness": 70}
    lined = scenario.changed(**{"column.liners": [{"friction": 0.1, "top": 300}], **measured})
    for copy in (Scenario(**lined.model_dump()), Scenario(**lined.model_dump(mode="json"))):
        assert copy == lined
    again = pickle.loads(pickle.dumps(lined))
    assert again == lined
    assert again.assumed() == lined.assumed()


def test_a_file_is_read_as_its_table(tmp_path, scenario):
    path = tmp_path / "column.toml"
    lines = [f"[{part}]\n" + "\n".join(f"{k} = {v}" for k, v in values.items()) for part, values in BASE.items()]
    path.write_text("\n".join(lines), encoding="utf-8")
    assert Scenario.from_toml(path) == Scenario.from_toml(str(path)) == scenario


def test_a_scenario_error_comes_back_from_its_pickle():
    with pytest.raises(ScenarioError) as caught:
        Scenario(**{**BASE, "container": {"diameter": 95, "mass": 0.5}})
    again = pickle.loads(pickle.dumps(caught.value))
    assert type(again) is ScenarioError
    assert again.problems == caught.value.problems
    assert len(again.problems) == 3
    assert str(again) == str(caught.value)


def test_a_scenario_error_of_plain_text_comes_back_too():
    again = pickle.loads(pickle.dumps(ScenarioError("one thing")))
    assert (again.problems, str(again)) == ((("", "one thing"),), "one thing")


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [(ScenarioError, ValueError), (RangeError, ValueError), (SimulationError, RuntimeError), (OutputError, OSError)],
)
def test_every_error_shares_the_root_and_refines_a_builtin(kind, builtin):
    assert issubclass(kind, ColsimError)
    assert issubclass(kind, builtin)
    assert str(kind("what is wrong")) == "what is wrong"


def test_the_friction_of_a_wall_is_that_of_the_sheet_at_that_height(scenario):
    liners = [{"wall": "left", "bottom": 100, "top": 300, "friction": 0.1}]
    lined = scenario.changed(**{"column.liners": liners, "column.wall_friction": 0.3})
    plain = lined.container
    assert [lined.friction_on_wall(plain, "left", h) for h in (50, 100, 200, 301)] == [0.3, 0.1, 0.1, 0.3]
    assert lined.friction_on_wall(plain, "right", 200) == 0.3
    own = lined.changed(**{"container.wall_friction": 0.5, "container.liner_friction": 0.2}).container
    assert [lined.friction_on_wall(own, "left", h) for h in (50, 100, 200, 301)] == [0.5, 0.2, 0.2, 0.5]
    assert lined.friction_on_wall(own, "right", 200) == 0.5
