"""Every rule that refuses a scenario stands in the description of its key, which `colsim schema --table` prints."""

import ast
import sys
from pathlib import Path

import pytest
from tests_shared import LEAST, ROTOR

import colsim
from colsim import Container, Scenario, ScenarioError
from colsim.model.base import keys

MODEL = Path(colsim.__file__).parent / "model"
RULES_STAND_IN = {
    "container.py": {"_check", "_require_density"},
    "column.py": {"_check"},
    "rotor.py": {"_check", "stand_ins"},
    "loading.py": {"_check"},
    "conditions.py": {"_require_units_of_all_or_none"},
    "squeeze_test.py": {"_check", "require_readings"},
    "softness.py": {"require_sizes_of_soft", "_of_carbonation"},
    "stiffness.py": {"require_sizes_of_firm", "board_stiffness"},
    "one_line.py": {"require_one_line"},
    "contradictions.py": {"_names", "container_contradictions", "_rotor", "contradictions"},
}
# A slip in the program, not in a scenario: a firm container without a body, or asking a soft one for one stiffness.
NO_RULES = {("stiffness.py", "is soft: "), ("stiffness.py", "missing; give it, or stiffness")}
DESCRIBED = {key.path: key.description for key in keys(Scenario)}

BASE = {
    "container": LEAST[Container],
    "column": {"width": 90, "height": 900, "wall_friction": 0.2},
    "rotor": ROTOR,
    "loading": {"count": 4},
}
CAN = {"can": LEAST[Container], "slim": LEAST[Container]}
FLOOR = {"column.throat": 80, "column.floor_slope": 60}
SOFT = {"container.wall_feel": "thin"}
GAS = {"container.gauge_pressure": 300}
HEIGHTS = ((0, 60), (6, 58), (12, 55))


def squeezed(*readings):
    return {"container.squeeze_test": [dict(zip(("bottles", "height"), each, strict=True)) for each in readings]}


def layers(*names):
    return {"loading.count": None, "loading.layers": [{"container": name, "count": 2} for name in names]}


def lined(*liners):
    return {"column.liners": [{"friction": 0.1, **liner} for liner in liners]}


RULES = [  # what is wrong, the key that it is about, and how its description says the rule
    ({"container.empty_mass": 0.6}, "container.empty_mass", "below the mass"),
    ({"container.set_flat": 40}, "container.set_flat", "at most half the diameter"),
    ({"container.length": 60}, "container.mass", "0.3 to 1.5 kg a litre"),
    (
        {"container.stiffness": 70, **SOFT},
        "container.stiffness",
        "not besides wall_thickness, wall_feel or squeeze_test",
    ),
    ({"container.wall_thickness": 4}, "container.wall_thickness", "at most a twentieth of the diameter"),
    ({**SOFT, "container.length": 130}, "container.length", "long enough for the drink in it, at 1.1 g/ml"),
    ({**SOFT, "container.length": 200, "container.body_length": 210}, "container.body_length", "at most the length"),
    ({**GAS, "container.length": 200, "container.body_length": 210}, "container.body_length", "at most the length"),
    ({**SOFT, "container.body_length": 190}, "container.body_length", "alone does not hold more than the whole"),
    ({**SOFT, "container.inside_volume": 400}, "container.inside_volume", "enough for the drink at 1.1 g/ml"),
    ({**GAS, "container.mass": 0.021}, "container.body_length", "where it counts an unknown range by what it holds"),
    ({"container.gauge_pressure": 6, "container.body_length": 130}, "container.gauge_pressure", "makes 2 N/mm"),
    (
        {"container.carbonation": 1.05, "container.body_length": 100, "conditions.service_temperature": -1},
        "container.carbonation",
        "makes 2 N/mm",
    ),
    (
        {"container.carbonation": 3, "conditions.service_temperature": 45},
        "conditions.service_temperature",
        "for a drink with gas -1.5 to 40",
    ),
    (
        {"container.carbonation": 3, "conditions.service_temperature": -5},
        "conditions.loading_temperature",
        "for a drink with gas -1.5 to 40",
    ),
    (squeezed(*HEIGHTS[:2]), "container.squeeze_test", "three readings or more"),
    (squeezed(*[(6, 60)] * 3), "container.squeeze_test", "two loads or more"),
    (squeezed((0, 68), *HEIGHTS[1:]), "container.squeeze_test", "none higher than the diameter"),
    (squeezed(*HEIGHTS[:2], (12, 62)), "container.squeeze_test", "none more than 1 mm higher under more load"),
    ({"container.squeeze_test": [{"height": 60}]}, "container.squeeze_test.bottles", "or load in its place"),
    ({"column.throat": 95, "column.floor_slope": 60}, "column.throat", "at most that of the column"),
    ({"column.throat": 60, "column.floor_slope": 60}, "column.throat", "at least the width of a container"),
    ({"column.throat": 80}, "column.floor_slope", "needed where the throat is narrower"),
    ({"column.throat": 80, "column.floor_slope": 89.9}, "column.floor_slope", "ends below the top of the walls"),
    ({**FLOOR, "column.throat_radius": 50}, "column.throat_radius", "less than takes the whole wall or floor"),
    ({"column.width": 60}, "column.width", "at least the width of a container"),
    ({"column.width": 140}, "column.width", "below twice its height"),
    (lined({"top": 300}, {"bottom": 200}), "column.liners.bottom", "sheets of one wall do not overlap"),
    (lined({"top": 100, "bottom": 200}), "column.liners.top", "above the lower edge"),
    (lined({"bottom": 950}), "column.liners.top", "above the lower edge and at most the column's height"),
    (lined({"top": 950}), "column.liners.top", "at most the column's height"),
    (
        {**lined({"top": 300, "lifted_edge": 30}), "container.diameter": 28, "container.mass": 0.1, "column.width": 50},
        "column.liners.lifted_edge",
        "below the height of a container",
    ),
    ({"rotor.pocket_depth": 95}, "rotor.pocket_depth", "below the radius"),
    ({"rotor.pocket_width": 190}, "rotor.pocket_width", "below the drum's diameter"),
    ({"rotor.pocket_width": 60}, "rotor.pocket_width", "wide enough for a container with the spacer in"),
    ({"rotor.pockets": 3}, "rotor.pockets", "do not run into each other"),
    ({"rotor.pockets": 5, "rotor.pocket_depth": 30, "rotor.lead_in": 10}, "rotor.pockets", "land is left between"),
    ({"rotor.spacer_thickness": 80}, "rotor.spacer_thickness", "which it does not fill"),
    (
        {"rotor.lead_in": 30, "rotor.pocket_width": 130},
        "rotor.lead_in",
        "less than takes the pocket's sides or the land",
    ),
    (
        {"rotor.radius": 44, "rotor.pocket_depth": 40, "rotor.pocket_width": 68},
        "rotor.radius",
        "more than half the throat",
    ),
    ({"rotor.pocket_takes": 80, "rotor.pocket_refuses": 70}, "rotor.pocket_refuses", "above pocket_takes"),
    ({"loading.layers": [{"container": "container", "count": 2}]}, "loading.count", "in place of layers"),
    ({"loading.top_up_at": 4}, "loading.top_up_at", "fewer than are loaded"),
    ({"loading.count": 40}, "loading.count", "no more than fit"),
    (
        {
            "container": None,
            "containers": CAN,
            **layers("can", "slim") | {"loading.layers": [{"container": "can", "count": 99}]},
        },
        "loading.layers",
        "no more than fit",
    ),
    ({"containers": CAN}, "container", "in place of containers"),
    ({"container": None, "containers": CAN}, "loading.layers", "where there are several kinds"),
    ({"container": None, "containers": CAN, **layers("can", "tin")}, "loading.layers.container", "that are described"),
    ({"container": None, "containers": {"a.b": LEAST[Container]}}, "containers", "each name without a dot"),
    ({"container": None, "containers": {"a\nb": LEAST[Container]}}, "containers", "one line of text without control"),
    ({"title": "red \x1b[31m"}, "title", "one line of text without control characters"),
    ({"container.name": "two\nlines"}, "container.name", "one line of text without control characters"),
    ({"on_hand.spacers": [6, "12 mm"]}, "on_hand.spacers", "all with their unit or none"),
]


def tables(changes):
    """Give the tables of the base with some values changed; None takes one away."""
    data = {name: dict(part) for name, part in BASE.items()}
    for path, value in changes.items():
        part, _, name = path.partition(".")
        holder = data if not name else data.setdefault(part, {})
        holder[name or part] = value
    return data


@pytest.mark.parametrize(("changes", "key", "rule"), RULES)
def test_a_rule_that_refuses_a_scenario_stands_in_the_description_of_its_key(changes, key, rule):
    assert Scenario(**BASE)
    with pytest.raises(ScenarioError) as caught:
        Scenario(**tables(changes))
    words = key.replace("_", ".").split(".")
    assert any(word.rstrip("s") in str(caught.value) for word in words[1:] or words)
    assert rule in DESCRIBED[key]


def places():
    """List where the model refuses what does not go together: file, first line and last."""
    for file, functions in RULES_STAND_IN.items():
        text = (MODEL / file).read_text(encoding="utf-8")
        found = [
            node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef) and node.name in functions
        ]
        assert {node.name for node in found} == functions
        for inner in (inner for node in found for inner in ast.walk(node)):
            if isinstance(inner, (ast.Raise, ast.Yield)) or (
                isinstance(inner, ast.Call) and getattr(inner.func, "attr", "") == "append"
            ):
                source = ast.get_source_segment(text, inner)
                if "from None" not in source and not any(file == at and part in source for at, part in NO_RULES):
                    yield file, inner.lineno, inner.end_lineno


def test_no_rule_is_left_out_above():
    ran = set()

    def trace(frame, event, _):
        if Path(frame.f_code.co_filename).parent != MODEL:
            return None
        if event == "line":
            ran.add((Path(frame.f_code.co_filename).name, frame.f_lineno))
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        for changes, _, _ in RULES:
            with pytest.raises(ScenarioError):
                Scenario(**tables(changes))
    finally:
        sys.settrace(before)
    sites = list(places())
    assert len(sites) > 40
    untried = [site for site in sites if not any((site[0], line) in ran for line in range(site[1], site[2] + 1))]
    assert not untried
