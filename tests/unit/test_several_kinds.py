"""Several kinds of container in one column, and every scenario written and read again."""

import pickle
import string

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from tests_shared import LEAST, ROTOR, small_scenario

from colsim import Column, Container, Rotor, Scenario, ScenarioError

CAN, SLIM = {"diameter": 66, "mass": 0.39, "friction": 0.2}, {"diameter": 60, "mass": 0.54, "friction": 0.45}
COLUMN = {"width": 90, "height": 900, "wall_friction": 0.25}
LAYERS = [{"container": "can", "count": 2}, {"container": "slim", "count": 3}]


def two_kinds(**changes):
    return Scenario(
        containers={"can": CAN, "slim": SLIM}, column=COLUMN, rotor=ROTOR, loading={"layers": LAYERS}
    ).changed(**changes)


def test_kinds_have_their_names_and_one_in_the_short_form_is_named_container():
    assert list(two_kinds().products) == ["can", "slim"]
    assert list(small_scenario().products) == list(small_scenario().loaded_products) == ["container"]
    assert two_kinds().container is None
    assert small_scenario().containers == {}


def test_layers_lie_from_the_bottom_up_and_a_top_up_is_of_the_kind_on_top():
    scenario = two_kinds(**{"loading.top_up_at": 2})
    assert [scenario.product_of(k) for k in range(8)] == ["can"] * 2 + ["slim"] * 6
    assert (scenario.loading.total, scenario.loading.vends) == (5, 8)
    assert scenario.load == "3 x slim on 2 x can"


def test_a_kind_may_lie_in_several_layers():
    scenario = two_kinds(**{"loading.layers": [*LAYERS, {"container": "can", "count": 1}]})
    assert [scenario.product_of(k) for k in range(7)] == ["can", "can", "slim", "slim", "slim", "can", "can"]
    assert list(scenario.loaded_products) == ["can", "slim"]


def test_one_kind_given_by_name_needs_no_layers():
    scenario = Scenario(containers={"can": CAN}, column=COLUMN, rotor=ROTOR, loading={"count": 3})
    assert [scenario.product_of(k) for k in range(4)] == ["can"] * 4
    assert scenario.loading.total == 3


def test_the_short_form_may_be_loaded_by_its_name():
    one = small_scenario(2)
    by_layer = Scenario(**{**one.as_given(), "loading": {"layers": [{"container": "container", "count": 2}]}})
    assert [by_layer.product_of(k) for k in range(2)] == ["container", "container"]
    assert by_layer.loaded_products == one.loaded_products


def test_what_is_not_loaded_need_not_fit():
    wide = {"diameter": 85, "mass": 0.9}
    kinds = {"can": CAN, "wide": wide}
    only_cans = {"layers": [{"container": "can", "count": 2}]}
    assert list(Scenario(containers=kinds, column=COLUMN, rotor=ROTOR, loading=only_cans).loaded_products) == ["can"]
    with pytest.raises(ScenarioError, match=r"^rotor\.pocket_width: got 82 mm, .*; wide is 85 mm wide"):
        Scenario(containers=kinds, column=COLUMN, rotor=ROTOR, loading={"layers": [{"container": "wide", "count": 1}]})


def test_the_thinnest_kind_says_how_many_may_fit():
    # 900 mm and a pocket of 80 mm; 30 mm free beside 60 mm: each more adds sqrt(60^2 - 30^2) = 51.96 mm:
    # 1 + (980 - 60) / 51.96 = 18.7.
    assert two_kinds().greatest_count() == 18
    with pytest.raises(ScenarioError, match=r"^loading\.layers: got 19; at most 18 fit"):
        two_kinds(**{"loading.layers": [{"container": "slim", "count": 18}, {"container": "can", "count": 1}]})


@pytest.mark.parametrize(
    ("layer", "answer"),
    [("cann", 'did you mean "can"?'), ("Slim", 'did you mean "slim"?'), ("zzz", "known: can, slim")],
)
def test_a_layer_of_what_is_not_described_is_answered_with_the_nearest(layer, answer):
    with pytest.raises(ScenarioError) as caught:
        two_kinds(**{"loading.layers.1.container": layer})
    assert str(caught.value) == f'loading.layers.1.container: got "{layer}", which is not described; {answer}'


KINDS = "allowed: container for one kind, containers for several"
CONTRADICTIONS = {
    "both": ({"container": CAN, "containers": {"can": CAN}}, rf"^got both of container and containers; {KINDS}$"),
    "neither": ({}, rf"^got neither of container and containers; {KINDS}$"),
    "empty": ({"containers": {}}, rf"^got neither of container and containers; {KINDS}$"),
    "no layers": (
        {"containers": {"can": CAN, "slim": SLIM}, "loading": {"count": 2}},
        r"^loading\.layers: missing; say from the bottom up how many of which container lie in the column$",
    ),
    "a dot": ({"containers": {"a.b": CAN}, "loading": {"count": 2}}, r"^containers\.a\.b: allowed: a name without a"),
    "no name": ({"containers": {"": CAN}, "loading": {"count": 2}}, r"^containers\.: allowed: a name without a dot"),
    "no table": ({"containers": {"can": 5}, "loading": {"count": 2}}, r"^containers\.can: got 5"),
    "a list": ({"containers": [CAN], "loading": {"count": 2}}, r"^containers: got \["),
    "no mass": ({"containers": {"can": {"diameter": 66}}}, r"^containers\.can\.mass: missing; add it\. How to measure"),
    "no such entry": (
        {"containers": {"can": "12 fl oz cann"}},
        r"^containers\.can\.like: got \"12 fl oz cann\".*did y",
    ),
}


@pytest.mark.parametrize(("parts", "said"), CONTRADICTIONS.values(), ids=CONTRADICTIONS)
def test_containers_that_cannot_be_told_apart_are_refused(parts, said):
    with pytest.raises(ScenarioError, match=said):
        Scenario(**{"column": COLUMN, "rotor": ROTOR, "loading": {"layers": LAYERS}, **parts})


def test_a_kind_may_be_named_by_the_catalogue():
    scenario = two_kinds(**{"containers.can": "12 fl oz can"})
    assert scenario.containers["can"].diameter == 66.1
    assert scenario.changed(**{"containers.can.diameter": 66.3}).containers["can"].mass == 0.385


def test_friction_between_kinds_is_their_geometric_mean_unless_it_was_measured():
    scenario = two_kinds()
    assert scenario.friction_between("can", "slim") == scenario.friction_between("slim", "can") == pytest.approx(0.3)
    assert (scenario.friction_between("can", "can"), scenario.friction_between("slim", "slim")) == (0.2, 0.45)
    measured = two_kinds(**{"loading.mixed_friction": 0.5})
    assert measured.friction_between("can", "slim") == measured.friction_between("slim", "can") == 0.5
    assert (measured.friction_between("can", "can"), measured.friction_between("slim", "slim")) == (0.2, 0.45)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("containers.slim.diameter", 61.0),
        ("containers.can.friction", 0.3),
        ("loading.layers.0.count", 4),
        ("loading.layers.1.container", "can"),
        ("column.liners.1.friction", 0.11),
        ("column.liners.0.wall", "right"),
    ],
)
def test_one_of_several_is_changed_by_its_name_or_place(path, value):
    liners = [{"friction": 0.1, "top": 300, "wall": "both"}, {"friction": 0.2, "bottom": 400}]
    before = two_kinds(**{"column.liners": liners})
    after = before.changed(**{path: value})

    def at(scenario):
        found = scenario.as_given()
        for key in path.split("."):
            found = found[int(key) if isinstance(found, list) else key]
        return found

    assert at(after) == value != at(before)
    assert after.changed(**{path: at(before)}) == before
    assert before.as_given() == two_kinds(**{"column.liners": liners}).as_given()


@pytest.mark.parametrize(
    ("path", "answer"),
    [
        ("containers.cna.diameter", 'did you mean "can"?'),
        ("containers.zzz.diameter", "known: can, slim"),
        ("containers.new", "known: can, slim"),
        ("containers.can.diamter", 'did you mean "diameter"?'),
        ("loading.layers.2.count", "known: 0, 1"),
        ("loading.layers.first.count", "known: 0, 1"),
        ("loading.layers.2", "known: 0, 1"),
        ("loading.layers.0.cuont", 'did you mean "count"?'),
        ("column.liners.0.friction", "there is none"),
        ("column.liners.0", "there is none"),
    ],
)
def test_a_name_or_place_that_is_not_there_is_refused_with_what_is(path, answer):
    with pytest.raises(ScenarioError) as caught:
        two_kinds(**{path: 1})
    assert str(caught.value) == f'unknown path "{path}": {answer}'


NUMBER = {
    (Container, "diameter"): (64, 70),
    (Container, "mass"): (0.3, 0.8),
    (Container, "friction"): (0.1, 0.6),
    (Container, "wall_friction"): (0.1, 0.6),
    (Container, "restitution"): (0.0, 0.5),
    (Container, "set_flat"): (0, 3),
    (Container, "wall_thickness"): (0.05, 0.4),
    (Column, "width"): (90, 110),
    (Column, "height"): (800, 1500),
    (Column, "wall_friction"): (0.1, 0.6),
    (Column, "throat_radius"): (0, 20),
    (Rotor, "pocket_width"): (80, 90),
    (Rotor, "speed"): (10, 60),
    (Rotor, "torque_limit"): (2, 40),
    (Rotor, "friction"): (0.1, 0.5),
}
WORD = {
    Container: {"surface": ["bare", "can", None], "wall_feel": ["thin", None], "drink": ["still", "light", None]},
    Column: {"wall_surface": ["plastic", "painted_steel", None]},
    Rotor: {"motor": ["weak", None], "turn": ["clockwise", "counterclockwise"]},
}


@st.composite
def numbers(draw, low, high):
    """Give a number, or a spread of any shape, within bounds."""
    a, b, c = sorted(draw(st.lists(st.integers(0, 10_000), min_size=3, max_size=3, unique=True)))
    a, b, c = (low + (high - low) * k / 10_000 for k in (a, b, c))
    kind, shape = (
        draw(st.sampled_from(["varies", "unknown"])),
        draw(st.sampled_from(["", "uniform", "normal", "fixed"])),
    )
    if not shape:
        return b
    if shape == "fixed":
        return {"kind": kind, "shape": shape, "typical": b}
    extra = {"deviation": c - a} if shape == "normal" else {}
    return {"kind": kind, "shape": shape, "low": a, "typical": b, "high": c, "origin": "guess", **extra}


@st.composite
def parts(draw, part, needed):
    """Give the table of a part with some of what may be said of it, as numbers, spreads and words."""
    table = {name: draw(numbers(*NUMBER[part, name])) for name in needed}
    for (holder, name), bounds in NUMBER.items():
        if holder is part and name not in table and draw(st.booleans()):
            table[name] = draw(numbers(*bounds))
    for name, words in WORD[part].items():
        if draw(st.booleans()):
            table[name] = draw(st.sampled_from(words))
    return table


@st.composite
def scenarios(draw):
    """Give a scenario of one to three kinds, of plain numbers, spreads and words."""
    names = draw(st.lists(st.text(string.ascii_letters + "_ äß漢", min_size=1, max_size=8), max_size=3, unique=True))
    container = parts(Container, ["diameter", "mass"])
    layers = [{"container": name, "count": draw(st.integers(1, 3))} for name in names]
    liners = draw(st.sampled_from([[], [{"condition": "lifted", "top": 300}, {"bottom": 300, "condition": "dusty"}]]))
    data = {
        "title": draw(st.text(max_size=5)),
        "column": {**draw(parts(Column, ["width", "height", "wall_friction"])), "liners": liners},
        "rotor": {**LEAST[Rotor], **draw(parts(Rotor, []))},
        "loading": {"layers": layers} if layers else {"count": 3},
        "conditions": {"wet": draw(st.booleans())},
        "on_hand": {"spacers": draw(st.lists(st.integers(0, 20), max_size=2))},
        **({"containers": {name: draw(container) for name in names}} if names else {"container": draw(container)}),
    }
    if draw(st.booleans()):
        data["column"].pop("wall_friction")
        data["column"]["wall_surface"] = "zinc_coated_steel"
    try:
        return Scenario(**data)
    except ScenarioError:
        assume(False)


FEW = settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


@FEW
@given(scenario=scenarios())
def test_a_scenario_comes_back_from_what_was_given_and_from_its_pickle(scenario):
    for again in (Scenario(**scenario.as_given()), pickle.loads(pickle.dumps(scenario)), scenario.changed()):
        assert again == scenario
        assert dict(again.all_spreads()) == dict(scenario.all_spreads())
        assert dict(again.assumed_spreads()) == dict(scenario.assumed_spreads())
        assert again.assumed() == scenario.assumed()


@FEW
@given(scenario=scenarios())
def test_written_as_given_it_knows_again_what_was_not_measured(scenario):
    again = Scenario(**scenario.as_given())
    assert again.model_dump() == scenario.model_dump()
    assert again.varying() == scenario.varying()
    assert again.unknowns() == scenario.unknowns()
